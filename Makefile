# What people run here. `make run` shows the program; `make test` is what CI runs.
# Set LISTEN to serve the demo elsewhere: make run LISTEN=:9000

SHELL := /bin/bash
.SHELLFLAGS := -o pipefail -ec
.ONESHELL:

LISTEN ?= 127.0.0.1:8080
VERSION := $(shell git describe --tags --always --dirty=+changed 2>/dev/null || echo development)
LDFLAGS := -X main.version=$(VERSION)

# Trees that run under the race detector; the rest runs without.
RACED := ./store/... ./server/... ./readiness/...
PLAIN := ./cmd/... ./curriculum/... ./quiz/... ./templates/...
PURE  := ./curriculum/... ./quiz/... ./readiness/...
GOLDEN := Golden|TestExample(Structure|Pages)

# How long each fuzz target runs in a soak: those of what outsiders hand in to the ledger's checks run long, side by side. An input that reaches new
# code is made smaller for ten tries, no longer: for a whole lesson the minute that go test takes otherwise is nearly all of the time.
FUZZTIME ?= 40s
FUZZ := -fuzzminimizetime 10x
LONGFUZZTIME ?= 10m
LONGFUZZ := FuzzParseLeaf:./store/ledger FuzzHead:./store/ledger FuzzBundle:./store

.PHONY: build run test tools check soak bench lint pictures

build:
	go build -ldflags '$(LDFLAGS)' -o bin/brakewright ./cmd/brakewright

# The demo: an invented training centre. Prints the address and the log-ins.
run: build
	exec bin/brakewright demo --listen $(LISTEN)

test: tools check
	.ci/gotest -timeout 20m $(PLAIN)
	.ci/gotest -timeout 20m -race $(RACED)
	$(MAKE) --no-print-directory machines

# The pure packages must give the same bytes on every machine: their golden tests again for arm64 (under qemu) and for
# a newer amd64, where the compiler may fuse multiplication and addition.
.PHONY: machines
machines:
	CGO_ENABLED=0 GOARCH=arm64 .ci/gotest -timeout 20m -exec "$$(.ci/install qemu-arm64)" -run '$(GOLDEN)' $(PURE)
	if grep -q avx2 /proc/cpuinfo; then GOAMD64=v3 CGO_ENABLED=0 .ci/gotest -timeout 20m -run '$(GOLDEN)' $(PURE); fi

# Installs what the tests need and a fresh machine lacks.
tools:
	.ci/install c-compiler chromium qemu-arm64 python3-cryptography >/dev/null

check:
	@unformatted=$$(gofmt -l $$(git ls-files '*.go')); \
	if [ -n "$$unformatted" ]; then echo "gofmt these files: $$unformatted" >&2; exit 1; fi
	go vet ./...
	go tool staticcheck ./...

# The full counts of the property tests, and every fuzz target; under 90 minutes on two cores. The race detector watches
# the same tests in `make test`; with it, the full counts alone would take longer than that.
soak: tools check
	export BRAKEWRIGHT_SOAK=1
	.ci/gotest -timeout 6h $(PLAIN) $(RACED)
	running=()
	for one in $(LONGFUZZ); do
		go test -run '^$$' -fuzz "^$${one%%:*}\$$" -fuzztime $(LONGFUZZTIME) $(FUZZ) -parallel 1 "$${one#*:}" &
		running+=($$!)
	done
	for process in "$${running[@]}"; do wait "$$process"; done
	for package in $$(go list ./...); do
		for target in $$(go test -list '^Fuzz' $$package | grep '^Fuzz' || true); do
			case " $(LONGFUZZ)" in *" $$target:"*) continue ;; esac
			go test -run '^$$' -fuzz "^$$target\$$" -fuzztime $(FUZZTIME) $(FUZZ) $$package
		done
	done

bench:
	go test -run '^$$' -bench . -benchmem ./...

# Code, and every programme folder that comes with it.
lint: check build
	bin/brakewright lint --strict embedded
	for folder in $$(git ls-files 'testdata/**/programme.yaml'); do
		bin/brakewright lint "$$(dirname "$$folder")"
	done

# The README's screenshots, made anew in real Chromium.
pictures: tools
	go test -count=1 -run TestPictures ./cmd/brakewright -pictures "$(CURDIR)/testdata/pictures"

# Every lesson, vehicle sheet and drawing as people see them, for eyes: phone and desk, light, dark and printed, into bin/look.
.PHONY: look
look: tools
	mkdir -p bin/look
	go test -count=1 -timeout 20m -run 'TestLessonsLook|TestDrawingsLook' ./server/browsertest -look "$(CURDIR)/bin/look"
