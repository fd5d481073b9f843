"""What the pages of ovens are made of: words, forms, pictures."""
