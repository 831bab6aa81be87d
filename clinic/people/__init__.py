"""The people of the clinic: patients with their risk and their visits, and the members of staff."""
