# The nested model with a residual variance for each site.
source(file.path(dirname(sub("--file=", "", grep("--file=", commandArgs(FALSE), value = TRUE))), "measure.R"))
need("nlme")
measure(
  function(records) {
    lme(y ~ rep, records, random = ~ 1 | line / site, weights = varIdent(form = ~ 1 | site), method = "REML",
        control = lmeControl(maxIter = 200, msMaxIter = 200))
  },
  function(found) c(criterion = -2 * as.numeric(logLik(found)))
)
