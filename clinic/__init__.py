"""People, roles, risk, the audit trail and policies."""
