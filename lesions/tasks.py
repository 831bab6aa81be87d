"""Background work of this app: pictures that wait to be measured."""

from clinic.jobs import Work, register_work
from lesions import assess

register_work(Work("assess", "pictures", assess.waiting, assess.run))
