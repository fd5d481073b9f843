"""The nouns of the trade as frozen dataclasses; no behaviour beyond checking themselves."""
