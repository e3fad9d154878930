# The same by R's metafor (Debian: r-cran-metafor): Rscript pool_in_r.R estimates.csv; columns estimate, standard_error, covariate.
suppressPackageStartupMessages(library(metafor))
d <- read.csv(commandArgs(TRUE)[1])
exact <- list(tol = 1e-12, maxiter = 10000)
m <- rma(estimate, sei = standard_error, data = d, method = "PM", test = "knha", control = exact)
r <- rma(estimate, sei = standard_error, mods = ~covariate, data = d, method = "PM", test = "knha", control = exact)
ci <- confint(m)$random
out <- c(m$b, m$se, m$ci.lb, m$ci.ub, m$tau2, ci[1, 2:3], m$QE, leave1out(m)$estimate, r$b, r$se, r$tau2)
cat(format(out, digits = 15), sep = "\n")
