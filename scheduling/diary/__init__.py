"""What the diary is made of: sessions that come again, public holidays, how long visits last."""
