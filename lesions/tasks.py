"""Register the background work of this app: pictures that wait to be measured."""

from clinic.jobs import Work, register_work
from lesions.measuring import measure

register_work(
    Work("assess", "pictures", measure.waiting, measure.measure_picture, activity="Measuring of pictures")
)
