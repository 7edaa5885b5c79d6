# Contrasts, degrees of freedom and adjusted p-values that others compute, for tests/mixed_contrasts.rs and tests/wear_contrasts.rs.
# Rscript contrasts.R > contrasts.json   (in this folder)
suppressMessages({library(lme4); library(lmerTest); library(emmeans); library(mvtnorm); library(jsonlite)})
options(digits = 15)
emm_options(pbkrtest.limit = 1e5, lmerTest.limit = 1e5)
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5))
set.seed(1)

# one row per contrast: Satterthwaite by lmerTest, p adjusted together by pmvt on the same t, df and correlation
answer <- function(fit, L, kr = TRUE) {
  V <- as.matrix(vcov(fit)); S <- L %*% V %*% t(L); R <- cov2cor(S)
  rows <- lapply(seq_len(nrow(L)), function(i) {
    c1 <- contest1D(fit, L[i, ], ddf = "Satterthwaite", confint = TRUE)
    k1 <- if (kr) contest1D(fit, L[i, ], ddf = "Kenward-Roger", confint = TRUE) else NULL
    t <- abs(c1$Estimate / c1$`Std. Error`)
    # pmvt takes whole degrees of freedom: its value at the two neighbours, and a straight line in 1/df between
    lo <- floor(c1$df); hi <- lo + 1
    at <- function(df) as.numeric(1 - pmvt(lower = rep(-t, nrow(L)), upper = rep(t, nrow(L)), corr = R, df = df,
                                           algorithm = GenzBretz(maxpts = 2e6, abseps = 1e-6)))
    w <- (1 / c1$df - 1 / hi) / (1 / lo - 1 / hi)
    list(contrast = rownames(L)[i], weights = as.list(setNames(L[i, ], colnames(L))), estimate = c1$Estimate,
         se = c1$`Std. Error`, df = c1$df, lower = c1$lower, upper = c1$upper, p = c1$`Pr(>|t|)`,
         p_together = if (nrow(L) > 1) w * at(lo) + (1 - w) * at(hi) else NULL,
         kenward_roger = if (kr) list(se = k1$`Std. Error`, df = k1$df, p = k1$`Pr(>|t|)`) else NULL)
  })
  rows
}
all_pairs <- function(names, groups, columns) {
  out <- list()
  for (g in unique(groups)) {
    of <- which(groups == g)
    if (length(of) < 2) next
    for (i in seq_len(length(of) - 1)) for (j in (i + 1):length(of)) {
      w <- setNames(rep(0, length(columns)), columns); w[names[of[i]]] <- 1; w[names[of[j]]] <- -1
      out[[paste(names[of[i]], "-", names[of[j]])]] <- w
    }
  }
  do.call(rbind, out)
}

data <- function(name) read.csv(file.path("..", "lmm", paste0(name, ".csv")))
facts <- function(fit) {
  ml <- refitML(fit)
  r <- as.data.frame(ranef(fit, condVar = TRUE))
  list(logLik = as.numeric(logLik(fit)), AIC = AIC(fit), BIC = BIC(fit), ml_logLik = as.numeric(logLik(ml)),
       ml_AIC = AIC(ml), ml_BIC = BIC(ml), sigma = sigma(fit), vcov = as.matrix(vcov(fit)),
       fitted = unname(fitted(fit)), population = unname(predict(fit, re.form = NA)), residuals = unname(resid(fit)),
       effects = data.frame(term = as.character(r$term), group = as.character(r$grp), level_of = as.character(r$grpvar),
                            value = r$condval, sd = r$condsd),
       anova = { a <- anova(fit, type = 3, ddf = "Satterthwaite")
                 data.frame(term = rownames(a), F = a$`F value`, num = a$NumDF, den = a$DenDF, p = a$`Pr(>F)`) })
}

out <- list(made_with = paste0(R.version.string, ", lme4 ", packageVersion("lme4"), ", lmerTest ", packageVersion("lmerTest"),
                               ", pbkrtest ", packageVersion("pbkrtest"), ", emmeans ", packageVersion("emmeans"),
                               ", mvtnorm ", packageVersion("mvtnorm")))

cake <- data("cake"); cake$recipe <- factor(cake$recipe); cake$block <- interaction(cake$recipe, cake$replicate)
cake$tempf <- factor(cake$temp)
fit <- lmer(angle ~ recipe + tempf + (1 | block), cake, control = control)
cols <- names(fixef(fit))
zero <- setNames(rep(0, length(cols)), cols)
mk <- function(...) { w <- zero; a <- c(...); w[names(a)] <- a; w }
L <- rbind("A - B" = mk(recipeB = -1), "A - C" = mk(recipeC = -1), "B - C" = mk(recipeB = 1, recipeC = -1))
emm <- as.data.frame(pairs(emmeans(fit, "recipe", lmer.df = "kenward-roger"), adjust = "tukey"))
t6 <- levels(cake$tempf); lp <- combn(t6, 2)
Lt <- t(apply(lp, 2, function(p) { w <- zero
  for (k in 1:2) { n <- paste0("tempf", p[k]); if (n %in% cols) w[n] <- c(1, -1)[k] }; w }))
rownames(Lt) <- apply(lp, 2, paste, collapse = " - ")
emt <- as.data.frame(pairs(emmeans(fit, "tempf", lmer.df = "satterthwaite"), adjust = "tukey"))
out$cake <- c(list(facts = facts(fit), recipes = answer(fit, L), temperatures = answer(fit, Lt)),
              list(emmeans_recipes = emm, emmeans_temperatures = emt))

ort <- data("orthodont"); ort$Sex <- factor(ort$Sex, levels = c("Female", "Male"))
fit <- lmer(distance ~ age * Sex + (age | Subject), ort, control = control)
cols <- names(fixef(fit)); zero <- setNames(rep(0, length(cols)), cols)
L <- rbind("slope of boys" = mk(age = 1, "age:SexMale" = 1), "slopes apart" = mk("age:SexMale" = 1),
           "boys less girls at 14" = mk(SexMale = 1, "age:SexMale" = 14))
out$orthodont <- list(facts = facts(fit), contrasts = answer(fit, L))

slp <- data("sleepstudy")
fit <- lmer(Reaction ~ Days + (Days | Subject), slp, control = control)
cols <- names(fixef(fit)); zero <- setNames(rep(0, length(cols)), cols)
L <- rbind("after 9 days" = mk("(Intercept)" = 1, Days = 9), "a day" = mk(Days = 1))
small <- lmer(Reaction ~ Days + (1 | Subject), slp, control = control)
lrt <- anova(small, fit)
out$sleepstudy <- list(facts = facts(fit), contrasts = answer(fit, L),
                       lrt = list(statistic = lrt$Chisq[2], df = lrt$Df[2], p = lrt$`Pr(>Chisq)`[2]))

pen <- data("penicillin")
fit <- lmer(diameter ~ 1 + (1 | plate) + (1 | sample), pen, control = control)
out$penicillin <- list(facts = within(facts(fit), rm(anova)))
pas <- data("pastes"); pas$sample <- interaction(pas$batch, pas$cask, drop = TRUE)
fit <- lmer(strength ~ 1 + (1 | batch) + (1 | sample), pas, control = control)
out$pastes <- list(facts = within(facts(fit), rm(anova)))

# the invented fleet of fleet-60: rates, linear time, wings, checks and lines random
dir <- file.path("..", "fleet-60")
rd <- function(n) read.csv(file.path(dir, paste0(n, ".csv")))
lines <- rd("lines"); seg <- rd("segments"); wings <- rd("wings"); checks <- rd("checks"); readings <- rd("readings")
m <- merge(merge(merge(readings, checks, by = "check"), wings[, c("wing", "model")], by = "wing"), lines, by = c("model", "line"))
path <- function(model, line) {
  own <- seg[seg$model == model, ]; at <- line; total <- c(aramid = 0, lcp = 0, uhmwpe = 0)
  while (!is.na(at) && at != "") { s <- own[own$segment == at, ]; total[s$material] <- total[s$material] + s$length_mm / 1000; at <- s$parent }
  total
}
keys <- unique(m[, c("model", "line")])
exposure <- t(mapply(path, keys$model, keys$line))
m <- cbind(m, exposure[match(paste(m$model, m$line), paste(keys$model, keys$line)), ])
m$d <- m$reading_mm - m$nominal_mm; m$g <- m$hours / 100
m$L <- m$aramid + m$lcp + m$uhmwpe; m$Lg <- m$L * m$g; m$lineid <- paste(m$wing, m$side, m$line)
terms <- c()
for (mat in c("aramid", "lcp", "uhmwpe")) for (row in unique(lines$row)) {
  x <- m[[mat]] * m$g * (m$row == row)
  if (any(x != 0)) { n <- paste0("rate_", mat, "_", row); m[[n]] <- x; terms <- c(terms, n) }
}
fit <- lmer(as.formula(paste("d ~ 1 +", paste(terms, collapse = " + "), "+ (1 + Lg | wing) + (1 | check) + (1 | lineid)")), m, control = control)
cols <- names(fixef(fit)); zero <- setNames(rep(0, length(cols)), cols)
named <- function(L) { colnames(L) <- gsub("_", ":", colnames(L)); colnames(L)[1] <- "offset"; L }
parts <- strsplit(terms, "_")
L <- rbind("uhmwpe:C - uhmwpe:A" = mk(rate_uhmwpe_C = 1, rate_uhmwpe_A = -1),
           "0.5*uhmwpe:C + 0.5*uhmwpe:stabilo - lcp:A" = mk(rate_uhmwpe_C = .5, rate_uhmwpe_stabilo = .5, rate_lcp_A = -1),
           "uhmwpe - lcp" = mk(rate_uhmwpe_A = .5, rate_uhmwpe_B = .5, rate_lcp_A = -.5, rate_lcp_B = -.5),
           "rate:uhmwpe:brake" = mk(rate_uhmwpe_brake = 1))
answers <- function(L) lapply(answer(fit, L, kr = FALSE), function(a) { names(a$weights) <- colnames(named(L)); a })
P <- all_pairs(terms, sapply(parts, `[`, 3), cols)
Q <- all_pairs(terms, sapply(parts, `[`, 2), cols)
# drift of a row's mean at 250 h in one model
own <- m[!duplicated(paste(m$model, m$line)), ]
drift <- function(model, row, g) { s <- own[own$model == model & own$row == row, ]; w <- zero
  for (mat in c("aramid", "lcp", "uhmwpe")) { n <- paste0("rate_", mat, "_", row); if (n %in% cols) w[n] <- mean(s[[mat]]) * g }; w }
D <- rbind(drift("HX4", "A", 2.5) - drift("HX4", "C", 2.5), drift("HX4", "C", 1))
rownames(D) <- c("drift:HX4:A@250 - drift:HX4:C@250", "drift:HX4:C")
out$fleet <- list(deviance = as.numeric(-2 * logLik(fit)), contrasts = answers(L), materials = answers(P), rows = answers(Q), drift = answers(D))
cat(toJSON(out, digits = 12, auto_unbox = TRUE, null = "null", pretty = FALSE))
