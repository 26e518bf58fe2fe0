# Words: kind of model (series, first_year, nested), optimiser (nloptwrap, bobyqa).
source(file.path(dirname(sub("--file=", "", grep("--file=", commandArgs(FALSE), value = TRUE))), "measure.R"))
need("lme4")
models <- list(
  series = y ~ site + (1 | line) + (1 | line:site) + (1 | rep) + (1 | block),
  first_year = y ~ site + group + (0 + tested | line) + (1 | line:site) + (1 | block),
  nested = y ~ rep + (1 | line) + (1 | line:site)
)
measure(
  function(records) lmer(models[[given[3]]], records, REML = TRUE, control = lmerControl(optimizer = given[4])),
  function(found) c(criterion = -2 * as.numeric(logLik(found)), evaluations = found@optinfo$feval)
)
