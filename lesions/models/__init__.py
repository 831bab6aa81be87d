from lesions.models.images import Delivery, Image, ImageKind, RefusedUpload, ScaleOrigin
from lesions.models.measures import UNFINISHED, Assessment, Comparison, Flag, JobState
from lesions.models.pathology import (
    MALIGNANT,
    Diagnosis,
    DiagnosisCode,
    Grade,
    Procedure,
    ProcedureKind,
    Sentinel,
    StageBasis,
)
from lesions.models.register import Examination, Lesion, LesionState, Monitoring, Side, Sign, UrgentSign, View
from lesions.models.review import Addendum, Decision, Review, ReviewState, SignOff

__all__ = [
    "MALIGNANT",
    "UNFINISHED",
    "Addendum",
    "Assessment",
    "Comparison",
    "Decision",
    "Delivery",
    "Diagnosis",
    "DiagnosisCode",
    "Examination",
    "Flag",
    "Grade",
    "Image",
    "ImageKind",
    "JobState",
    "Lesion",
    "LesionState",
    "Monitoring",
    "Procedure",
    "ProcedureKind",
    "RefusedUpload",
    "Review",
    "ReviewState",
    "ScaleOrigin",
    "Sentinel",
    "Side",
    "Sign",
    "SignOff",
    "StageBasis",
    "UrgentSign",
    "View",
]
