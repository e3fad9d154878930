# Called by bench_choice.py: times survival::clogit on a CSV, prints seconds, coefficients and log likelihood.
suppressMessages(library(survival))
arguments <- commandArgs(trailingOnly = TRUE)
d <- read.csv(arguments[1])
for (method in c("exact", "breslow")) {
  seconds <- system.time(
    fit <- clogit(used ~ air + surface + radiation + strata(set_id), data = d, method = method)
  )[["elapsed"]]
  cat(method, format(c(seconds, coef(fit), fit$loglik[2]), digits = 15), "\n")
}
