# A two-dimensional P-spline with lines as random effects; words: knots along rows and columns.
source(file.path(dirname(sub("--file=", "", grep("--file=", commandArgs(FALSE), value = TRUE))), "measure.R"))
need("mgcv")
knots <- as.integer(given[3:4])
measure(
  function(records) {
    bam(y ~ te(field_row, field_col, bs = "ps", k = knots) + s(line, bs = "re"), data = records, method = "fREML",
        discrete = TRUE, nthreads = 1)
  },
  function(found) {
    invisible(capture.output(parts <- gam.vcomp(found, conf.lev = 0.95)))
    spreads <- if (is.list(parts) && !is.null(parts$vc)) parts$vc[, 1] else if (is.matrix(parts)) parts[, 1] else unlist(parts)
    c(residual = found$sig2, line = unname(spreads[grep("line", names(spreads))[1]])^2)
  }
)
