"""The project's settings, with a test database in a file, so that each changed module need not build one anew."""

import os

from config.settings import *  # noqa: F403
from config.settings import DATABASES

DATABASES["default"]["TEST"] = {"NAME": os.environ["MUTANT_DATABASE"]}
