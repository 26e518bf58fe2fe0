"""Which desk page answers which address? Each room lists its own."""

from firstsilk.faces.pages.analysis.routes import routes as analysis
from firstsilk.faces.pages.choice.routes import routes as choice
from firstsilk.faces.pages.climate.routes import routes as climate
from firstsilk.faces.pages.flowering.routes import routes as flowering
from firstsilk.faces.pages.home.routes import routes as home
from firstsilk.faces.pages.lineage.routes import routes as lineage
from firstsilk.faces.pages.nursery.routes import routes as nursery
from firstsilk.faces.pages.seed.routes import routes as seed
from firstsilk.faces.pages.trials.routes import routes as trials

urlpatterns = [
    *home,
    *climate,
    *lineage,
    *nursery,
    *flowering,
    *seed,
    *trials,
    *analysis,
    *choice,
]
