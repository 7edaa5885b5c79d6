# Data and lme4's fits for tests/mixed_further.rs: Rscript make.R, in this folder.
# Every number is drawn here; nothing is measured.
library(lme4)
RNGversion("4.0.0")
set.seed(20261127)
lines <- expand.grid(line = 1:4, side = 1:2, row = c("A", "B", "C"))
lines$length <- round(4 + 3 * (lines$line / 4) + 0.3 * as.integer(lines$row), 3)
wings <- data.frame(wing = sprintf("w%02d", 1:14), model = sprintf("m%d", 1 + (0:13) %% 4))
checks <- 4
model_row <- outer(unique(wings$model), levels(lines$row), Vectorize(function(m, r) rnorm(1, 0, 0.25)))
rownames(model_row) <- unique(wings$model); colnames(model_row) <- levels(lines$row)
rate <- c(A = -0.2, B = -0.5, C = -1.0)
rows <- list()
for (k in seq_len(nrow(wings))) {
  u <- rnorm(1, 0, 1.5); v <- rnorm(1, 0, 0.15); by_row <- setNames(rnorm(3, 0, 0.2), levels(lines$row))
  own <- rnorm(nrow(lines), 0, 2); own_rate <- rnorm(nrow(lines), 0, 0.2)
  hours <- sort(round(runif(checks, 0, 300)))
  for (c in seq_len(checks)) {
    at <- rnorm(1, 0, 1.2)
    read <- runif(nrow(lines)) > 0.06
    x <- lines$length * hours[c] / 100
    y <- -0.8 + u + at + own + x * (rate[as.character(lines$row)] + v + by_row[as.character(lines$row)] +
      own_rate + model_row[wings$model[k], as.character(lines$row)]) + rnorm(nrow(lines), 0, 1.6)
    rows[[length(rows) + 1]] <- data.frame(wing = wings$wing[k], model = wings$model[k], check = paste0(wings$wing[k], "-", c),
      line = paste(wings$wing[k], lines$row, lines$side, lines$line), row = lines$row, x = round(x, 6), y = round(y, 3))[read, ]
  }
}
d <- do.call(rbind, rows)
write.csv(d, "readings.csv", row.names = FALSE, quote = FALSE)
control <- lmerControl(optimizer = "nloptwrap", optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-14, maxeval = 20000), calc.derivs = FALSE)
full <- y ~ 1 + x:row + (1 + x | wing) + (0 + x | wing:row) + (1 | check) + (1 | line) + (0 + x | line) + (0 + x | model:row)
formulas <- list(
  line = y ~ 1 + x:row + (1 + x | wing) + (1 | check) + (1 | line) + (0 + x | line),
  model = y ~ 1 + x:row + (1 + x | wing) + (1 | check) + (1 | line) + (0 + x | model:row),
  full = full)
out <- list()
for (name in names(formulas)) for (reml in c(TRUE, FALSE)) {
  fit <- lmer(formulas[[name]], d, REML = reml, control = control)
  vc <- as.data.frame(VarCorr(fit))
  sd_of <- function(group, v1, v2 = NA) { k <- which(sub("\\..*", "", vc$grp) == group & vc$var1 %in% v1 & (is.na(v2) == is.na(vc$var2))); if (length(k)) vc$sdcor[k][1] else NA }
  out[[length(out) + 1]] <- data.frame(model = name, criterion = if (reml) "reml" else "ml",
    deviance = if (reml) REMLcrit(fit) else deviance(fit), sigma = sigma(fit),
    line = sd_of("line", "(Intercept)"), line_rate = sd_of("line", "x"), wing_row = sd_of("wing:row", "x"),
    model_rate = sd_of("model:row", "x"), check = sd_of("check", "(Intercept)"), wing = sd_of("wing", "(Intercept)"), wing_rate = sd_of("wing", "x"),
    beta0 = fixef(fit)[1], betaA = fixef(fit)[2], betaB = fixef(fit)[3], betaC = fixef(fit)[4],
    se0 = sqrt(vcov(fit)[1, 1]), seA = sqrt(vcov(fit)[2, 2]), seB = sqrt(vcov(fit)[3, 3]), seC = sqrt(vcov(fit)[4, 4]))
}
write.csv(format(do.call(rbind, out), digits = 12), "lme4.csv", row.names = FALSE, quote = FALSE)
re <- ranef(lmer(full, d, REML = TRUE, control = control))[["model:row"]]
write.csv(data.frame(level = rownames(re), effect = format(re$x, digits = 12)), "lme4-model-effects.csv", row.names = FALSE, quote = FALSE)
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4"))), "versions.txt")
