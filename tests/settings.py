"""The station's settings for tests: books in memory, and a home folder that is gone afterwards."""

import atexit
import os
import shutil
import tempfile

_home = tempfile.mkdtemp(prefix="firstsilk-test-")
atexit.register(shutil.rmtree, _home, ignore_errors=True)
os.environ["FIRSTSILK_HOME"] = _home
os.makedirs(os.path.join(_home, "static"))

from firstsilk.station.settings import *  # noqa: E402, F403

# Hashing passwords slowly is for stations, not for a thousand tests.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
