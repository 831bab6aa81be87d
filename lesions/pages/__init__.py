"""What the pages about lesions share: their head, and the sections that upper apps hang on a lesion's page."""
