# Words: kind of model. Standard errors are told, as by default.
source(file.path(dirname(sub("--file=", "", grep("--file=", commandArgs(FALSE), value = TRUE))), "measure.R"))
need("glmmTMB")
models <- list(
  series = list(y ~ site + (1 | line) + (1 | line:site) + (1 | rep) + (1 | block), ~ site),
  first_year = list(y ~ site + group + (0 + tested | line) + (1 | line:site) + (1 | block), ~ site),
  strip = list(y ~ 1 + ar1(place + 0 | strip) + (1 | line), ~ 1)
)
model <- models[[given[3]]]
measure(
  function(records) {
    for (name in intersect("place", names(records))) records[[name]] <- factor(records[[name]])
    glmmTMB(model[[1]], records, dispformula = model[[2]], REML = TRUE, control = glmmTMBControl(parallel = 1))
  },
  function(found) c(criterion = -2 * as.numeric(logLik(found)), evaluations = sum(found$fit$evaluations))
)
