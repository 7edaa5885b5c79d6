# One fit by lme4, in a process of its own: Rscript lme4.R COLUMNS.csv FORMULA; called by run.py.
#
# Prints one line of JSON: version, seconds of the fit, peak memory since its start, REML criterion, rates.
suppressMessages({library(lme4); library(jsonlite)})
given <- commandArgs(trailingOnly = TRUE)
header <- strsplit(readLines(given[1], n = 1), ",")[[1]]
groups <- c("wing", "check", "line")
data <- read.csv(given[1], colClasses = ifelse(header %in% groups, "factor", "numeric"))
invisible(gc())

memory_mib <- function() {
  status <- readLines("/proc/self/status")
  as.numeric(gsub("[^0-9]", "", grep("^VmHWM", status, value = TRUE))) / 1024
}

writeLines("5", "/proc/self/clear_refs")
begin <- proc.time()
# The derivatives only serve a check of convergence, which costs about as much as the fit.
fit <- lmer(as.formula(given[2]), data, REML = TRUE, control = lmerControl(calc.derivs = FALSE))
took <- proc.time() - begin
memory <- memory_mib()

blas <- basename(extSoftVersion()[["BLAS"]])
cat(toJSON(list(
  version = paste0("lme4 ", packageVersion("lme4"), " (R ", getRversion(), ", ", blas, ")"),
  wall_s = took[["elapsed"]],
  cpu_s = took[["user.self"]] + took[["sys.self"]],
  memory_mib = memory,
  criterion = REMLcrit(fit),
  rates = as.list(fixef(fit)),
  note = paste(fit@optinfo$conv$lme4$messages, collapse = "; ")
), digits = NA, auto_unbox = TRUE), "\n")
