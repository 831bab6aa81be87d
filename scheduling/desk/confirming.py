"""Record that a patient confirmed an appointment, for the time that was confirmed: a moved one is asked anew."""

from django.db import transaction
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, change
from clinic.trail import audit
from scheduling.desk import claims
from scheduling.desk.bookable import BookingRefused
from scheduling.models import Appointment, AppointmentState


@transaction.atomic
def confirm(*, appointment: Appointment, by: Member, confirmed: bool = True) -> Appointment:
    """Keep the time that was confirmed; `confirmed=False` takes that back."""
    require(by, Act.CONTACT)
    claims.hold(appointment.patient, by)
    if appointment.starts_at <= clock.now():
        raise BookingRefused(_("This appointment has begun: say how it ended."))
    at = appointment.starts_at if confirmed else None
    booked = {"state": AppointmentState.BOOKED}
    change(appointment, seen=appointment.revision, at=clock.now(), where=booked, confirmed_for=at)
    audit.record(
        "appointment.confirm", by=by, subject=appointment, patient=appointment.patient, confirmed=confirmed
    )
    return appointment
