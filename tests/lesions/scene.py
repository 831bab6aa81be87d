"""What the tests of this app stand on: a lesion on the LEFT upper arm, drawn pictures, a measured review."""

import io
from datetime import timedelta

import numpy as np
from PIL import Image as Pixels

from clinic import clock
from clinic.duties.telling import THE_PATIENT
from lesions.measuring import measure
from lesions.models import Review
from lesions.pictures import intake
from lesions.register import bodymap, register
from lesions.results import pathology
from tests import build

ARM = "45981001"


def place(site=ARM, side="left"):
    view, x, y = bodymap.centre(site, side)
    return {"site": site, "side": side, "view": view, "x": x, "y": y}


def lesion(patient=None, **more):
    return register.add(patient=patient or build.patient(), by=build.nurse(), **(place() | more))


def jpeg(seed=0, size=(120, 90), **more):
    """A small picture of noise on skin colour: readable, nothing to find in it."""
    noise = np.random.default_rng(seed).integers(-8, 8, (size[1], size[0], 3))
    out = io.BytesIO()
    Pixels.fromarray((np.array([215, 170, 150]) + noise).astype(np.uint8)).save(out, "JPEG", **more)
    return out.getvalue()


def file(lesion, data=None, days_ago=0, by=None, **more):
    taken_on = clock.today() - timedelta(days=days_ago)
    data = jpeg(seed=days_ago + 1) if data is None else data
    fields = {"filename": "a.jpg", "taken_on": taken_on} | more
    return intake.accept(lesion=lesion, by=by or build.nurse(), data=data, **fields)


def tell(diagnosis, by=None, on=None):
    """The patient is told in person: what most tests need."""
    said = {"told": THE_PATIENT, "how": "in_person", "words": "the result, and what follows"}
    return pathology.tell(diagnosis=diagnosis, by=by or build.dermatologist(), on=on, **said)


def measured(lesion, data=None, days_ago=0, **more):
    """File a picture, measure it as the worker does, and return the review that it opened."""
    picture = file(lesion, data, days_ago, **more)
    measure.measure_picture(picture.assessments.get().pk)
    return Review.objects.filter(assessment__image=picture).first()
