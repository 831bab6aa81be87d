"""Settings, processes, commands and the demo: knows every app, and no app knows it."""
