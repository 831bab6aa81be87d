"""The work of the desk: bookings, the list of the day, calls."""
