"""The Celery application; its settings are Django's, with CELERY_ before them."""

import os

# Two children measuring pictures on two cores: more BLAS threads would only fight for them. This must
# stand before the first import of numpy.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.project.settings")

from celery import Celery  # noqa: E402

app = Celery("quarterday")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
