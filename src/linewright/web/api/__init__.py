"""The interface for programs: the verbs of the commands over HTTP, with the same documents."""

from linewright.web.api import downloads as downloads
from linewright.web.api import events as events
from linewright.web.api.answers import VERBS as VERBS
from linewright.web.api.writing import READS as READS
from linewright.web.api.writing import WRITES as WRITES
