"""What the pages of every app share: the masthead, the patient page, and answers that any view gives."""
