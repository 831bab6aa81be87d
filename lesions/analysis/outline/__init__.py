"""Where the lesion ends: the learned outline, the vote of channels, and how much they can be doubted."""
