"""The desk's diary as pages: its days, booking, what becomes of an appointment, and the hours that it is made of."""
