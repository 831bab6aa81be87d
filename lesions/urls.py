from django.urls import URLPattern

app_name = "lesions"
urlpatterns: list[URLPattern] = []
