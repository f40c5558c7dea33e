# Least squares by Householder QR (lm.fit), design and levels given.
source(file.path(commandArgs(trailingOnly = TRUE)[1], "ref", "common.R"))
y <- numbers("y")
X <- matrix(numbers("x"), nrow = length(y))
clock(function() {
  f <- lm.fit(X, y)
  c(f$coefficients, sqrt(sum(f$residuals^2) / f$df.residual))
})
