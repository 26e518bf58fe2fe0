"""The station as a web application, for the server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "firstsilk.station.settings")

application = get_wsgi_application()
