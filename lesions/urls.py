from django.urls import path

from lesions.views import decisions, limits, outline_and_scale, pictures, putting_right, register, results

app_name = "lesions"
urlpatterns = [
    path("patients/<int:pk>/lesions/new/", register.new_lesion, name="new_lesion"),
    path("lesions/<int:pk>/", register.lesion, name="lesion"),
    path("lesions/<int:pk>/amend/", register.amend_lesion, name="amend_lesion"),
    path("lesions/<int:pk>/pictures/", pictures.add_pictures, name="add_pictures"),
    path("lesions/<int:pk>/signs/", register.note_sign, name="note_sign"),
    path("lesions/<int:pk>/examined/", register.examined, name="examined"),
    path("lesions/<int:pk>/decide/", decisions.decide_in_person, name="decide_in_person"),
    path("images/<int:pk>/view/", pictures.view_image, name="view_image"),
    path("comparisons/<int:pk>/map/", pictures.change_map, name="change_map"),
    path("images/<int:pk>/outline/", outline_and_scale.outline, name="outline"),
    path("images/<int:pk>/scale/", outline_and_scale.scale, name="scale"),
    path("assessments/<int:pk>/again/", outline_and_scale.measure_again, name="measure_again"),
    path("pictures/", pictures.pictures, name="pictures"),
    path("pictures/refused/<int:pk>/settle/", pictures.settle, name="settle"),
    path("decisions/", decisions.decisions, name="decisions"),
    path("decisions/unflagged/", decisions.unflagged, name="unflagged"),
    path("decisions/<int:pk>/", decisions.decision, name="decision"),
    path("signoffs/<int:pk>/addendum/", decisions.add_addendum, name="add_addendum"),
    path("signoffs/<int:pk>/take-back/", decisions.take_back, name="take_back"),
    path("signoffs/<int:pk>/put-right/", putting_right.put_right, name="put_right"),
    path("signoffs/<int:pk>/set-aside/", putting_right.set_aside, name="set_aside"),
    path("limits/", limits.limits, name="limits"),
    path("limits/draft/", limits.draft, name="limits_draft"),
    path("limits/<int:pk>/", limits.version, name="limits_version"),
    path("limits/<int:pk>/propose/", limits.propose, name="limits_propose"),
    path("limits/<int:pk>/approve/", limits.approve, name="limits_approve"),
    path("results/", results.results, name="results"),
    path("diagnoses/<int:pk>/amend/", results.amend_diagnosis, name="amend_diagnosis"),
    path("patients/<int:pk>/procedures/new/", results.new_procedure, name="new_procedure"),
    path("procedures/<int:pk>/sutures/", results.sutures, name="sutures"),
    path("patients/<int:pk>/diagnoses/new/", results.new_diagnosis, name="new_diagnosis"),
]
