"""Words, figures, forms and records of the pages about boxes."""
