"""Words, figures, forms and labels of the pages about spools."""
