"""Pages of patients, staff, and the policies that people approve."""
