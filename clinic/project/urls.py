from django.contrib.auth.views import LoginView, LogoutView
from django.urls import include, path
from django.views.decorators.cache import cache_control
from django.views.i18n import JavaScriptCatalog

from clinic.project import views

# The words of the scripts, in the language of the pages.
# Private, because it may differ by reader; an hour, because a script may not wait for its words on each page.
words_of_scripts = cache_control(private=True, max_age=3600)(JavaScriptCatalog.as_view())

urlpatterns = [
    path("", views.start, name="start"),
    path("healthz", views.health, name="health"),
    path("login/", LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("words.js", words_of_scripts, name="words_of_scripts"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("", include("clinic.urls")),
    path("", include("lesions.urls")),
    path("", include("scheduling.urls")),
]
