"""One module per subject: pages for people, the live stream, the API, and what machines ask."""
