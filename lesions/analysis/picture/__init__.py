"""From a file to pixels that can be measured: decoding, light, hair, scale, quality."""
