"""The demo clinic: invented people, drawn pictures, and two years of work through the functions of real use."""
