# Profile-likelihood intervals by lme4, for tests/mixed_profile.rs.
#
#   Rscript tests/data/profile/profile.R > tests/data/profile/profile.json
#
# lme4's own confint() interpolates the profile by splines; here each end is found by root search on lme4's criterion:
# for spreads on the deviance as a function of standard deviations, correlation and sigma, for fixed effects on refits
# with the effect moved to the left side of the model.
suppressMessages({library(lme4); library(jsonlite)})
rise <- qchisq(0.95, 1)

spreads <- function(fit) {
  dev <- lme4:::devfun2(fit, useSc = TRUE, signames = FALSE)
  best <- attr(dev, "optimum")
  best <- best[!(names(best) %in% names(fixef(fit)))]
  floor <- dev(best)
  correlation <- grepl("^cor_", names(best))
  lower <- ifelse(correlation, -0.9999999, 1e-9)
  upper <- ifelse(correlation, 0.9999999, Inf)
  excess <- function(k, value) {
    if (length(best) == 1) return(dev(value) - floor - rise)
    go <- function(from) optim(from, function(x) { p <- best; p[k] <- value; p[-k] <- x
      if (any(p < lower) || any(p > upper)) 1e10 else dev(p) },
      method = "Nelder-Mead", control = list(reltol = 1e-15, maxit = 20000))
    found <- go(best[-k]); for (i in 1:6) found <- go(found$par)
    found$value - floor - rise
  }
  out <- t(sapply(seq_along(best), function(k) {
    f <- function(v) excess(k, v)
    low <- if (correlation[k]) -0.999 else best[k] * 0.02
    lo <- if (f(low) < 0) NA else uniroot(f, c(low, best[k]), tol = 1e-9)$root
    high <- if (correlation[k]) 0.999 else best[k] * 4
    hi <- if (f(high) < 0) NA else uniroot(f, c(best[k], high), tol = 1e-9)$root
    c(best[k], lo, hi)
  }))
  data.frame(parameter = names(best), estimate = out[, 1], lower = out[, 2], upper = out[, 3])
}

fixed <- function(data, response, columns, random) {
  build <- function(y, cols) {
    d <- data; d$y_ <- y
    right <- paste(c("0", cols, random), collapse = " + ")
    lmer(as.formula(paste("y_ ~", right)), d, REML = FALSE,
         control = lmerControl(optimizer = "nloptwrap", optCtrl = list(ftol_abs = 1e-14, xtol_abs = 1e-12, maxeval = 1e5)))
  }
  full <- build(data[[response]], columns)
  floor <- -2 * as.numeric(logLik(full))
  out <- t(sapply(seq_along(columns), function(k) {
    f <- function(v) {
      fit <- build(data[[response]] - v * data[[columns[k]]], columns[-k])
      -2 * as.numeric(logLik(fit)) - floor - rise
    }
    b <- fixef(full)[k]; se <- sqrt(vcov(full)[k, k])
    c(b, uniroot(f, c(b - 5 * se, b), tol = 1e-9)$root, uniroot(f, c(b, b + 5 * se), tol = 1e-9)$root)
  }))
  data.frame(parameter = columns, estimate = out[, 1], lower = out[, 2], upper = out[, 3])
}

here <- "tests/data/lmm/"
sleep <- read.csv(paste0(here, "sleepstudy.csv")); names(sleep) <- tolower(names(sleep)); sleep$one <- 1
dye <- read.csv(paste0(here, "dyestuff.csv")); names(dye) <- tolower(names(dye)); dye$one <- 1
tight <- lmerControl(optimizer = "nloptwrap", optCtrl = list(ftol_abs = 1e-14, xtol_abs = 1e-12, maxeval = 1e5))
out <- list(
  sleepstudy = list(
    spreads_ml = spreads(lmer(reaction ~ 1 + days + (1 + days | subject), sleep, REML = FALSE, control = tight)),
    fixed_ml = fixed(sleep, "reaction", c("one", "days"), "(1 + days | subject)")),
  dyestuff = list(
    spreads_ml = spreads(lmer(yield ~ 1 + (1 | batch), dye, REML = FALSE, control = tight)),
    fixed_ml = fixed(dye, "yield", c("one"), "(1 | batch)")))
cat(toJSON(list(made_by = paste("R", getRversion(), "lme4", packageVersion("lme4")), fits = out), digits = 12, auto_unbox = TRUE, pretty = TRUE), "\n")
