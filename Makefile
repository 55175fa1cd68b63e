# boardproof: 'make demo' and 'make test' do everything; 'make help' lists the rest.
GO ?= go
BIN := build/boardproof
# PortAudio's binding passes integers as pointers.
RACE := -gcflags=github.com/gordonklaus/portaudio=-d=checkptr=0
# What runs side by side in there; the rest takes minutes under the detector.
RACE_BENCH := Watch|StoppedHunt|LeftSitting

.PHONY: help build demo test lint vuln race race-ci same bench truth coverage retest hunts spicehunts colours bigstore kills crb fuzz deps deps-test clean

help: ## list the targets
	@grep -E '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 12

build: deps ## build build/boardproof
	$(GO) build -trimpath -o $(BIN) ./cmd/boardproof

demo: build ## run the main job on simulated boards, no hardware needed
	$(BIN) demo

# The program's own tests come first: they wait for JACK while the others compute.
test: deps-test lint ## run every test, outside checks included
	$(GO) test -timeout 3h ./cmd/boardproof ./...

lint: deps ## gofmt, go vet, staticcheck
	@unformatted=$$(gofmt -l $$(git ls-files --cached --others --exclude-standard '*.go')); \
	if [ -n "$$unformatted" ]; then echo "not formatted: $$unformatted"; exit 1; fi
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

vuln: ## look for known vulnerabilities in what is used (needs the network)
	$(GO) tool govulncheck ./...

race: deps-test ## the tests under the race detector (the binding to PortAudio passes integers as pointers)
	$(GO) test -race -timeout 6h $(RACE) ./...

race-ci: deps-test ## the same where programs share what they write or play: store, order at the bench, sound card
	$(GO) test -race -timeout 3h $(RACE) ./db ./capture/soundcard
	$(GO) test -race -timeout 3h $(RACE) -run '$(RACE_BENCH)' ./cmd/boardproof/internal/procedure

same: deps ## build twice from nothing, in two folders, and compare byte for byte
	@rm -rf build/same && mkdir -p build/same/a build/same/b
	@for d in a b; do git archive HEAD | tar x -C build/same/$$d && \
	(cd build/same/$$d && GOCACHE=$(CURDIR)/build/same/cache-$$d GOFLAGS=-buildvcs=false $(GO) build -trimpath -o ../$$d.bin ./cmd/boardproof) || exit 1; done
	cmp build/same/a.bin build/same/b.bin && sha256sum build/same/a.bin build/same/b.bin
	@rm -rf build/same

bench: deps-test ## time and memory of one acceptance's analysis, beside plain SciPy in the same run
	$(GO) run ./cmd/trial bench

truth: deps-test ## measure 60 random simulated boards and hold each reading against the truth
	TRUTH_BOARDS=60 $(GO) test ./cmd/boardproof/internal/procedure -run Truth -v -timeout 60m

coverage: deps ## how often the stated interval holds the truth, over 2,000 random simulated boards
	$(GO) run ./cmd/trial coverage

retest: deps ## how often an unchanged board is called changed, over 1,000 of them measured twice
	$(GO) run ./cmd/trial retest

spicehunts: deps-test ## hunts in 27 circuits that ngspice computes, with real mains under them
	SPICE_HUNTS=all $(GO) test ./cmd/boardproof -run SpiceHunts -v -timeout 60m

hunts: deps ## how often a hum hunt names the true cause, over 1,000 simulated ones
	$(GO) run ./cmd/trial hunts

colours: deps-test ## sweeps through boards of SciPy's in noise of six colours: refused, held, too wide
	COLOUR_TAKES=167 $(GO) test ./analysis -run NoiseOfAnyColour -v -timeout 120m

bigstore: deps ## a store of 5,000 boards and 50,000 invented runs, and the time that finding takes
	@mkdir -p build
	$(GO) run ./cmd/trial bigstore -store build/bigstore.db

kills: deps-test ## kill 1,000 commands that write, each at a random moment, and look for what was lost
	KILLS=1000 $(GO) test ./cmd/boardproof -run KilledAt -v -timeout 120m

soak: deps-test ## four hours of 'hum watch' on the simulated bench and half an hour over JACK: memory, goroutines, share of a core
	SOAK=4h SOAK_JACK=30m $(GO) test ./cmd/boardproof -run SoakHumWatch -v -timeout 300m

hostile: deps-test ## read 1,000 files that were cut, altered or blown up: none may hang, panic or take a gigabyte
	HOSTILE=1000 $(GO) test ./cmd/boardproof -run HostileFiles -v -timeout 120m

crb: deps ## the estimators' variance over the Cramér-Rao bound, and what noise alone does to them
	$(GO) run ./cmd/trial crb

fuzz: deps ## fuzz what reads files, five minutes each
	$(GO) test -fuzz=. -fuzztime=5m ./capture/wavfile
	$(GO) test -run=FuzzArchive -fuzz=FuzzArchive -fuzztime=5m ./db

deps:
	@.ci/deps build

deps-test:
	@.ci/deps test

clean: ## remove what was built
	rm -rf build
