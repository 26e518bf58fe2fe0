# How long does one fit take in R, file read and everything warm, and how much memory did the process need?
# Sourced by the scripts beside it. Each is called with: records.csv small.csv [words of its own].
# Says lines of "key=value"; leaves with status 3 where a package is absent.

if (nchar(Sys.getenv("OPENBLAS_NUM_THREADS")) == 0) stop("OPENBLAS_NUM_THREADS is not set")

given <- commandArgs(TRUE)

need <- function(package) {
  if (!requireNamespace(package, quietly = TRUE)) {
    cat("absent=", package, "\n", sep = "")
    quit(status = 3)
  }
  suppressWarnings(suppressPackageStartupMessages(library(package, character.only = TRUE)))
  cat("program=", package, " ", as.character(packageVersion(package)), "\n", sep = "")
}

take <- function(path) read.csv(path, stringsAsFactors = TRUE)

peak_mb <- function() {
  if (!file.exists("/proc/self/status")) return(NA)
  line <- grep("^VmHWM", readLines("/proc/self/status"), value = TRUE)
  as.numeric(gsub("[^0-9]", "", line)) / 1024
}

# fit(records): what is timed. told(fit): named numbers to say of it.
measure <- function(fit, told) {
  small <- take(given[2])
  records <- take(given[1])
  invisible(suppressWarnings(suppressMessages(fit(small))))
  invisible(gc())
  took <- system.time(found <- suppressWarnings(suppressMessages(fit(records))))
  peak <- peak_mb()
  numbers <- c(told(found), seconds = took[["elapsed"]], cpu_seconds = took[["user.self"]] + took[["sys.self"]], peak_mb = peak)
  for (name in names(numbers)) cat(name, "=", format(numbers[[name]], digits = 17), "\n", sep = "")
  cat("blas=", as.character(extSoftVersion()[["BLAS"]]), "\n", sep = "")
  cat("lapack=", La_library(), "\n", sep = "")
  cat("r=", R.version.string, "\n", sep = "")
}
