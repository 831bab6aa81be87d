from django.urls import path

from clinic.views import duties, duty_limits, patients, staff, tiers

app_name = "clinic"
urlpatterns = [
    path("patients/", patients.patients, name="patients"),
    path("patients/new/", patients.register, name="register"),
    path("patients/<int:pk>/", patients.patient, name="patient"),
    path("patients/<int:pk>/amend/", patients.amend, name="amend"),
    path("patients/<int:pk>/routes/", patients.add_route, name="add_route"),
    path("patients/<int:pk>/routes/<int:route>/dead/", patients.kill_route, name="kill_route"),
    path("patients/<int:pk>/end/", patients.end_care, name="end_care"),
    path("patients/<int:pk>/resume/", patients.resume_care, name="resume_care"),
    path("patients/<int:pk>/risk/", patients.assess_risk, name="assess_risk"),
    path("patients/<int:pk>/visits/", patients.record_visit, name="record_visit"),
    path("visits/<int:pk>/take_back/", patients.take_back_visit, name="take_back_visit"),
    path("patients/<int:pk>/trail/", patients.trail, name="trail"),
    path("duties/<int:pk>/", duties.duty, name="duty"),
    path("duties/<int:pk>/settle/", duties.settle, name="settle_duty"),
    path("duties/<int:pk>/end/", duties.end, name="end_duty"),
    path("duties/<int:pk>/propose/", duties.propose_end, name="propose_end_duty"),
    path("duties/<int:pk>/put_off/", duties.put_off, name="put_off_duty"),
    path("duties/<int:pk>/take_back/", duties.take_back, name="take_back_duty"),
    path("proposals/<int:pk>/", duties.proposal, name="proposal"),
    path("duty_limits/", duty_limits.in_force, name="duty_limits"),
    path("duty_limits/draft/", duty_limits.draft, name="duty_limits_draft"),
    path("duty_limits/<int:pk>/", duty_limits.version, name="duty_limits_version"),
    path("duty_limits/<int:pk>/propose/", duty_limits.propose, name="duty_limits_propose"),
    path("duty_limits/<int:pk>/approve/", duty_limits.approve, name="duty_limits_approve"),
    path("tiers/", tiers.in_force, name="tiers"),
    path("tiers/draft/", tiers.draft, name="tiers_draft"),
    path("tiers/<int:pk>/", tiers.version, name="tiers_version"),
    path("tiers/<int:pk>/propose/", tiers.propose, name="tiers_propose"),
    path("tiers/<int:pk>/approve/", tiers.approve, name="tiers_approve"),
    path("staff/", staff.staff, name="staff"),
    path("staff/new/", staff.add_member, name="add_member"),
    path("staff/<int:pk>/", staff.amend_member, name="amend_member"),
]
