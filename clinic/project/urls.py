from django.contrib.auth.views import LoginView, LogoutView
from django.urls import include, path

from clinic.project import views

urlpatterns = [
    path("", views.start, name="start"),
    path("healthz", views.health, name="health"),
    path("login/", LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("", include("clinic.urls")),
    path("", include("lesions.urls")),
    path("", include("scheduling.urls")),
]
