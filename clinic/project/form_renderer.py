"""How every form of the site is written: our templates for a form and for a field."""

from django.forms.renderers import TemplatesSetting


class ClinicForms(TemplatesSetting):
    """`{{ form }}` and `{{ form.born.as_field_group }}` in the look of the house."""

    form_template_name = "clinic/forms/form.html"
    field_template_name = "clinic/forms/field.html"
