"""The local web app: a door. Pages and partials call the same verbs as the commands; no arithmetic lives here."""
