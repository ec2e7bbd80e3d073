# Every target does its work in .venv, which it makes itself; see tasks.py (the same on Windows).
PYTHON ?= python3

.PHONY: demo test check bench page fuzz report-metrology clean

demo:   ## install, ask every question of the demo cell, print the answers, write report and sheets
	@$(PYTHON) tasks.py demo

test:   ## install, run every test
	@$(PYTHON) tasks.py test

check:  ## style, types, import contracts
	@$(PYTHON) tasks.py check

bench:  ## speed, as ratios to a named reference in the same run
	@$(PYTHON) tasks.py bench

page:   ## build the page of `gudgeon show` anew; needs Node.js, which users do not
	@$(PYTHON) tasks.py page

fuzz:   ## hostile programs for the reader; RUNS=1000000 for more
	@$(PYTHON) tasks.py fuzz $(RUNS)

report-metrology:  ## figures on simulated shops into docs/metrology.md; ONLY="drift 100" for a part
	@$(PYTHON) tasks.py report-metrology $(ONLY)

clean:  ## remove what the other targets made
	rm -rf .venv build dist gudgeon-report.html gudgeon-sheets.pdf
