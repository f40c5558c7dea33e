# BCa interval of the 95 % quantile of errors of places (boot, boot.ci).
source(file.path(commandArgs(trailingOnly = TRUE)[1], "ref", "common.R"))
library(boot)
e <- numbers("errors")
clock(function() {
  set.seed(1)
  b <- boot(e, function(x, i) quantile(x[i], 0.95, names = FALSE, type = 7), R = numbers("resamples"))
  boot.ci(b, conf = 0.95, type = "bca")$bca[4:5]
})
