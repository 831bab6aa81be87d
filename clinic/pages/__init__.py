"""What the pages of all apps share: the masthead, the patient page, and answers that any view gives."""
