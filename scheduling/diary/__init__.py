"""What the diary is made of: sessions that come again, a clinician's leave, public holidays, how long visits last."""
