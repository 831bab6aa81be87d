from django.urls import path

from scheduling.views import calls, checklists, diary, missed, overrides, preview, rules, today

app_name = "scheduling"
urlpatterns = [
    path("today/", today.today, name="today"),
    path("today/<int:item>/claim/", today.claim, name="claim"),
    path("today/<int:item>/hand_back/", today.hand_back, name="hand_back"),
    path("recalls/<int:pk>/", calls.recall, name="recall"),
    path("recalls/<int:pk>/attempts/", calls.attempt, name="attempt"),
    path("recalls/<int:pk>/book/", calls.book, name="book"),
    path("recalls/<int:pk>/close/", calls.close, name="close"),
    path("recalls/<int:pk>/unreachable/", calls.unreachable, name="unreachable"),
    path("patients/<int:pk>/call/", calls.call, name="call"),
    path("patients/<int:pk>/other_dates/", overrides.set_other, name="set_override"),
    path("overrides/<int:pk>/end/", overrides.end, name="end_override"),
    path("lesions/<int:pk>/checklists/<slug:kind>/", checklists.fill, name="fill_checklist"),
    path("diary/", diary.diary, name="diary"),
    path("diary/closures/", diary.close_day, name="close_day"),
    path("diary/hours/", diary.open_hours, name="open_hours"),
    path("appointments/<int:pk>/came/", diary.came, name="came"),
    path("appointments/<int:pk>/missed/", diary.missed, name="appointment_missed"),
    path("appointments/<int:pk>/cancel/", diary.cancel, name="cancel"),
    path("missed/", missed.missed, name="missed"),
    path("missed/bucket/<slug:name>/", missed.bucket, name="bucket"),
    path("missed.csv", missed.missed_csv, name="missed_csv"),
    path("problems/", missed.problems, name="problems"),
    path("rules/", rules.rules, name="rules"),
    path("rules/draft/", rules.draft, name="rules_draft"),
    path("rules/<int:pk>/", rules.version, name="rules_version"),
    path("rules/<int:pk>/propose/", rules.propose, name="rules_propose"),
    path("rules/<int:pk>/preview/", preview.preview, name="rules_preview"),
    path("rules/<int:pk>/approve/", preview.approve, name="rules_approve"),
]
