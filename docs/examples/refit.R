# Fits the wear model again with lme4, from the tables that `linedrift wear FLEET --shape linear --out DIR --export` writes, and
# compares every number. For the plain model: wing (offset and rate), check and line random, and rates by row where they were fitted.
#
#   Rscript refit.R DIR
suppressMessages(library(lme4))
dir <- commandArgs(trailingOnly = TRUE)[1]
read <- function(name) read.csv(file.path(dir, paste0("wear_", name, ".csv")), check.names = FALSE)
frame <- read("frame"); design <- read("design"); terms <- read("terms"); spread <- read("spread")

x <- matrix(0, nrow(frame), nrow(terms), dimnames = list(NULL, paste0("t", seq_len(nrow(terms)))))
x[cbind(design$frame_row + 1, match(design$term, terms$term))] <- design$value
data <- cbind(frame, x)
data$line_id <- paste(data$wing, data$side, data$line, data$restart)
data$wing_row <- paste(data$wing, data$row)
data$as_built <- as.numeric(data$restart == 0)
# of the order of 1, or the optimiser stops at a spread of zero
data$lg <- data$length_g_m / sqrt(mean(data$length_g_m^2))

# a row is the mean of its readings: rows with the same number, mean and spread have the same likelihood
repeated <- rep(seq_len(nrow(data)), data$readings)
within <- ave(repeated, repeated, FUN = seq_along)
data <- data[repeated, ]
several <- data$readings > 1
half <- ifelse(several, data$sd_mm * sqrt((data$readings - 1) / 2), 0)
data$deviation_mm <- data$deviation_mm + half * (within == 1) - half * (within == data$readings & several)

# an adjusted line has a free offset from then on: a column of its own
restarts <- unique(data$line_id[data$restart > 0])
for (k in seq_along(restarts)) data[[paste0("r", k)]] <- as.numeric(data$line_id == restarts[k])
columns <- c(colnames(x), if (length(restarts)) paste0("r", seq_along(restarts)))

has <- function(group) any(spread$group == group & !is.na(spread$sd))
random <- c(if (has("wing")) "(1 + lg | wing)", if (has("check")) "(1 | check)",
            if (has("line")) "(0 + as_built | line_id)", if (has("wing:row")) "(0 + lg | wing_row)")
formula <- as.formula(paste("deviation_mm ~ 0 +", paste(c(columns, random), collapse = " + ")))
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5), check.rankX = "ignore")
fit <- lmer(formula, data, control = control)

ours <- terms$estimate; theirs <- fixef(fit)[colnames(x)]
se <- sqrt(diag(as.matrix(vcov(fit))))[colnames(x)]
cat(sprintf("%-24s %12s %12s %10s %10s\n", "term", "linedrift", "lme4", "se", "lme4"))
cat(sprintf("%-24s %12.6f %12.6f %10.6f %10.6f\n", terms$term, ours, theirs, terms$se, se), sep = "")
print(VarCorr(fit))
print(spread)
worst <- max(abs(ours - theirs) / se); worst_se <- max(abs(terms$se / se - 1))
sigma_off <- abs(spread$sd[spread$group == "reading"] / sigma(fit) - 1)
cat(sprintf("largest difference: estimates %.1e se, standard errors %.1e, reading spread %.1e\n", worst, worst_se, sigma_off))
quit(status = as.integer(worst > 2e-3 || worst_se > 2e-3 || sigma_off > 1e-3))
