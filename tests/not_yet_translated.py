"""Pages that still speak English past the catalogue. The list may only shrink."""

# What upper apps hang on these pages still speaks English.
CLINIC: set[str] = {
    "clinic:patient",
    "clinic:end_care",
    "clinic:trail",
}
LESIONS: set[str] = {
    "lesions:lesion",
    "lesions:add_pictures",
}
SCHEDULING: set[str] = {
    "scheduling:today",
    "scheduling:recall",
    "scheduling:attempt",
    "scheduling:close",
    "scheduling:unreachable",
    "scheduling:set_override",
    "scheduling:end_override",
    "scheduling:fill_checklist",
    "scheduling:diary",
    "scheduling:open_hours",
    "scheduling:close_day",
    "scheduling:came",
    "scheduling:move",
    "scheduling:capacity",
    "scheduling:missed",
    "scheduling:owed",
    "scheduling:bucket",
    "scheduling:problems",
    "scheduling:rules",
    "scheduling:suppose",
    "scheduling:compare",
    "scheduling:rules_draft",
    "scheduling:rules_version",
    "scheduling:rules_preview",
    "scheduling:rules_accepted",
}
LEFT = CLINIC | LESIONS | SCHEDULING
