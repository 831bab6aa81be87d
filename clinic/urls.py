from django.urls import path

from clinic import tier_pages, views

app_name = "clinic"
urlpatterns = [
    path("patients/", views.patients, name="patients"),
    path("patients/new/", views.register, name="register"),
    path("patients/<int:pk>/", views.patient, name="patient"),
    path("patients/<int:pk>/amend/", views.amend, name="amend"),
    path("patients/<int:pk>/routes/", views.add_route, name="add_route"),
    path("patients/<int:pk>/routes/<int:route>/dead/", views.kill_route, name="kill_route"),
    path("patients/<int:pk>/end/", views.end_care, name="end_care"),
    path("patients/<int:pk>/resume/", views.resume_care, name="resume_care"),
    path("patients/<int:pk>/risk/", views.assess_risk, name="assess_risk"),
    path("patients/<int:pk>/visits/", views.record_visit, name="record_visit"),
    path("patients/<int:pk>/trail/", views.trail, name="trail"),
    path("tiers/", tier_pages.in_force, name="tiers"),
    path("tiers/draft/", tier_pages.draft, name="tiers_draft"),
    path("tiers/<int:pk>/", tier_pages.version, name="tiers_version"),
    path("tiers/<int:pk>/propose/", tier_pages.propose, name="tiers_propose"),
    path("tiers/<int:pk>/approve/", tier_pages.approve, name="tiers_approve"),
    path("staff/", views.staff, name="staff"),
    path("staff/new/", views.add_member, name="add_member"),
    path("staff/<int:pk>/", views.amend_member, name="amend_member"),
]
