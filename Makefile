# `make demo` runs the main job, `make test` the tests. Each does all its set-up first: missing Debian
# packages, .venv, the locked Python packages. Once that is done it starts at once; a changed lock or
# pyproject.toml brings .venv up to date.

DEMO_PACKAGES := libportaudio2
# Beside these, the window libraries that Qt's xcb platform loads, a sound server to play into, a screen to
# draw on, and the outside referees.
TEST_PACKAGES := $(DEMO_PACKAGES) \
    fontconfig libdbus-1-3 libegl1 libgl1 libx11-xcb1 libxcb-cursor0 libxcb-icccm4 libxcb-image0 \
    libxcb-keysyms1 libxcb-randr0 libxcb-render-util0 libxcb-shape0 libxcb-shm0 libxcb-sync1 \
    libxcb-xfixes0 libxcb-xkb1 libxkbcommon-x11-0 \
    libasound2-plugins pulseaudio pulseaudio-utils xvfb \
    chromium ffmpeg ngspice poppler-utils qpdf sox

VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --no-input install --quiet
OUT ?=
ARGS ?=

# The tests start the program a hundred times: it is translated once, not each time anew.
unexport PYTHONDONTWRITEBYTECODE

.DEFAULT_GOAL := help
.NOTPARALLEL:
.PHONY: help demo test endurance screenshots check format lock clean demo-packages test-packages

# An environment works only in the folder that it was made in and while its Python is there: else it is made anew.
ifneq ($(wildcard $(VENV)/.made),)
ifneq ($(shell $(BIN)/python -c 'print(open("$(VENV)/.made").read())' 2>/dev/null),$(CURDIR))
$(shell rm -rf $(VENV))
endif
endif

help:
	@echo 'make demo [OUT=folder]     the whole main job on the bundled sample job'
	@echo 'make test [ARGS="-k x"]    the tests'
	@echo 'make endurance             the long tests: faults at many moments, counting, speed; some twenty minutes'
	@echo 'make screenshots           every sheet into build/screenshots, some of them into docs/screens'
	@echo 'make check                 style, types, import layers'
	@echo 'make format                put the style right'
	@echo 'make lock [UPGRADE=1]      write the requirements files anew (needs pip-compile)'
	@echo 'make clean                 remove .venv and caches'
	@echo
	@echo 'PYTHON=python3.13 names the Python to use; SKIP_PACKAGES=1 installs no Debian packages.'

demo: demo-packages $(VENV)/.ready-for-demo
	@$(BIN)/humproof demo $(if $(OUT),--out '$(OUT)')

test: test-packages $(VENV)/.ready-for-test
	@$(BIN)/python -m pytest -n auto --dist worksteal $(ARGS)

# Alone on the machine: one of them measures how much of it recording takes.
endurance: test-packages $(VENV)/.ready-for-test
	@$(BIN)/python -m pytest -m endurance tests/endurance $(ARGS)

screenshots: test-packages $(VENV)/.ready-for-test
	@$(BIN)/python tools/screenshots.py

check: $(VENV)/.ready-for-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

format: $(VENV)/.ready-for-test
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

lock:
	tools/lock.sh

clean:
	rm -rf $(VENV) build *.egg-info .coverage .hypothesis .import_linter_cache .mypy_cache .pytest_cache .ruff_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +

demo-packages:
	@sh tools/debian-packages.sh $(DEMO_PACKAGES)

test-packages:
	@sh tools/debian-packages.sh $(TEST_PACKAGES)

$(VENV)/.made:
	@sh tools/make-venv.sh $(VENV)
	@echo '$(CURDIR)' > $@

$(VENV)/.ready-for-demo: requirements.txt pyproject.toml | $(VENV)/.made
	@echo 'installing the Python packages of requirements.txt'
	@$(PIP) --require-hashes -r requirements.txt
	@$(PIP) --no-deps --no-build-isolation --editable .
	@touch $@

# What the tests need includes what the program needs, so this makes ready for both.
$(VENV)/.ready-for-test: requirements-dev.txt pyproject.toml | $(VENV)/.made
	@echo 'installing the Python packages of requirements-dev.txt'
	@$(PIP) --require-hashes -r requirements-dev.txt
	@$(PIP) --no-deps --no-build-isolation --editable .
	@touch $@ $(VENV)/.ready-for-demo
