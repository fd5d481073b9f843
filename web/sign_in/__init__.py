"""Signing in on the pages: who may do what, the door that sees to it, and the pages for people."""
