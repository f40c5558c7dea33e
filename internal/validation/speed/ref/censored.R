# Left-censored normal regression (survreg), maximum likelihood.
source(file.path(commandArgs(trailingOnly = TRUE)[1], "ref", "common.R"))
library(survival)
y <- numbers("y")
heard <- numbers("heard") > 0
X <- matrix(numbers("x"), nrow = length(y))
s <- Surv(y, heard, type = "left")
clock(function() {
  f <- survreg(s ~ X - 1, dist = "gaussian", control = survreg.control(rel.tolerance = 1e-12))
  c(f$coefficients, f$scale)
})
