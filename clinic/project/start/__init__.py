"""From an empty machine to running processes: environment, broker, web server, worker."""
