# Outside check of fit_mixed: a Cox model with one event a stratum is a conditional logit, and a Gaussian frailty of
# places is their random intercept (restricted Laplace likelihood). Run in tests/: Rscript studies/mixed_logit.R
# Printed by R 4.2.2 with survival 3.5-3: coefficient 0.49699, standard error 0.24387, variance 2.18655.
library(survival)
d <- read.csv("published/mixed_places.csv", comment.char = "#")
d$time <- 2 - d$used
f <- coxph(Surv(time, used) ~ x + frailty(place_id, distribution = "gaussian", sparse = FALSE) + strata(set_id),
  data = d, ties = "breslow")
cat(R.version.string, " survival", as.character(packageVersion("survival")), "\n")
cat("coefficient", format(f$coef[1], digits = 7), " standard error", format(sqrt(diag(f$var))[1], digits = 7),
  " variance", format(f$history[[1]]$theta, digits = 7), "\n")
