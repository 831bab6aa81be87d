from django.urls import URLPattern

app_name = "scheduling"
urlpatterns: list[URLPattern] = []
