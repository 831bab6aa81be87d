"""One pair as a picture to look at: earlier, later, change map, and what was said."""

import io

from PIL import Image, ImageDraw

from lesions.analysis.drawing import changemap

_SIDE = 520


def draw(seen):
    both = [Image.open(io.BytesIO(data)).convert("RGB") for data in (seen.pair.earlier, seen.pair.later)]
    drawn = Image.open(io.BytesIO(changemap.draw(seen.pair.earlier, seen.found, max_side=1200)))
    panes = [_wide(image) for image in (*both, drawn.convert("RGB"))]
    sheet = Image.new("RGB", (3 * _SIDE, 60 + max(pane.height for pane in panes)), "white")
    for i, pane in enumerate(panes):
        sheet.paste(pane, (i * _SIDE, 60))
    ImageDraw.Draw(sheet).multiline_text((6, 4), _words(seen), fill="black")
    return sheet


def _wide(image):
    return image.resize((_SIDE, round(image.height * _SIDE / image.width)))


def _words(seen):
    laid, error = seen.found.registration, f"{seen.zoom_error:.1%} off" if seen.aligned else "-"
    codes = ", ".join(reason.code for reason in laid.reasons)
    return (
        f"{seen.name}: {seen.pair.kind.name} (true area {seen.pair.grew - 1:+.0%}), "
        f"{'with' if seen.scaled else 'without'} scales, {'sure' if seen.sure else 'doubted'}\n"
        f"aligned {seen.aligned}, scale {error}, {codes}; beyond {seen.beyond}, grown drawn {seen.drawn}"
    )
