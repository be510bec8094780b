"""The interface for programs: the verbs of the commands over HTTP, with the same documents."""

from linewright.web.api import handed as handed
from linewright.web.api import kept as kept
from linewright.web.api.answers import VERBS as VERBS
