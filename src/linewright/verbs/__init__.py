"""The verbs: what a person can ask, each one function behind library, command and page."""
