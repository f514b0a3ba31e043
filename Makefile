# Two commands matter: `make run` shows the demonstration, `make test` runs all
# tests. Both bring what they need on a Debian machine with git, make, Go, Node.

GO       ?= go
BIN      := bin/weald
WEB      := webui/dist/index.html
FUZZTIME ?= 10s
# of what the program alone writes and reads back
OURSTIME ?= 3s
# No folder's name is in what is compiled, so that one checkout finds what another has
# compiled of the same text.
# Compilers and linkers collect garbage less often, which makes what they use of a processor
# a quarter less (measured); what they write is the same.
TOOLS := '-toolexec=env GOGC=400'
export GOFLAGS := $(strip $(filter-out -trimpath $(TOOLS),$(shell $(GO) env GOFLAGS)) -trimpath $(TOOLS))

# `go vet` and staticcheck in one (.tools/lint). What it reads of packages is what the
# race detector's tests are made of, so that tests are not compiled for it alone.
LINT := .cache/lint

# The race detector watches everything where something runs beside something else,
# except for the C of SQLite: that runs on memory which the detector does not know.
RACE := -race $(foreach c2go,sqlite/lib libc/... memory,'-gcflags=modernc.org/$(c2go)=-race=false -d=checkptr=0')
# In these packages nothing does, and the detector has nothing to find. A test in
# cmd/internal/archtest keeps that true.
CALM := ./rules/... ./ingest/assembly ./ingest/battery ./ingest/calib/... ./ingest/capture ./ingest/clock \
  ./ingest/frame ./ingest/health ./stream/access/guesses ./stream/access/password ./stream/export/... ./stream/journal ./stream/lag ./stream/record \
  ./stream/ahead ./stream/calibrating ./stream/history ./stream/notify ./stream/notify/secret ./stream/order ./stream/person ./stream/selfwatch/host \
  ./ingest/sample ./ingest/near ./ingest/recorded ./ingest/tried ./ingest/tcp/wire/pair ./cmd/internal/calmlog ./stream/report/paper ./stream/report/sheet ./stream/report/tally ./stream/rehearsal ./stream/view ./config/internal/... ./config/figures ./cmd/internal/archtest ./cmd/internal/beds \
  ./cmd/internal/posturefit
# What is counted here is the program as it is, and not what the detector makes of it.
COUNTED := ./cmd/internal/toll

.DEFAULT_GOAL := build
.PHONY: build run deb rpm test web modules packages lint go-test plain-test race-test calm-test web-test fuzz e2e stories figures faults bench toll profile scale clean

build: $(BIN)

run: $(BIN)
	./$(BIN) demo

# What comes over the network comes at the same time, the pages are checked beside the
# linters, and fuzzing takes what the tests under the race detector leave. What is measured
# against a clock has the machine to itself.
test:
	@$(MAKE) --no-print-directory -j3 web modules packages
	@$(MAKE) --no-print-directory -j2 --output-sync lint web-test
	@$(MAKE) --no-print-directory -j2 --output-sync plain-test calm-test
	@$(MAKE) --no-print-directory -j2 --output-sync race-test fuzz
	@$(MAKE) --no-print-directory stories
	@$(MAKE) --no-print-directory figures

# The pages come first: the Go binary carries them.
web: $(WEB)

webui/node_modules/.package-lock.json: webui/package.json webui/package-lock.json
	cd webui && npm ci --no-audit --no-fund --loglevel=error
	@touch $@

$(WEB): webui/node_modules/.package-lock.json $(shell find webui/src webui/public webui/seat webui/index.html webui/vite.config.ts -type f 2>/dev/null)
	cd webui && npm run --silent build
	@touch $@

SOURCES := $(WEB) $(shell find cmd config ingest rules stream webui -name '*.go' 2>/dev/null) go.mod go.sum

$(BIN): $(SOURCES)
	$(GO) build -o $@ ./cmd/weald

# Packages for Debian and its kin, and for those that take rpm: bin/weald_*.deb and
# bin/weald-*.rpm. What they hold is in .packaging, with a module of its own for what
# builds them, so that nobody who only builds or tests fetches that.
ARCH    ?= $(shell $(GO) env GOARCH)
VERSION ?= $(shell sed -n 's/^var version = "\(.*\)"$$/\1/p' cmd/weald/version.go)
RELEASE := bin/weald-linux-$(ARCH)
# By what the program does all day the compiler chooses what it puts into what calls it.
# With that, everything is compiled once more, so that only releases are built so.
PROFILE := .packaging/weald.pgo

$(RELEASE): $(SOURCES) $(PROFILE)
	CGO_ENABLED=0 GOOS=linux GOARCH=$(ARCH) $(GO) build -pgo=$(PROFILE) -ldflags '-s -w -X main.version=$(VERSION)' -o $@ ./cmd/weald

deb rpm: $(RELEASE)
	ARCH=$(ARCH) VERSION=$(VERSION) $(GO) tool -modfile=.packaging/go.mod nfpm package -f .packaging/nfpm.yaml -p $@ -t bin/

lint:
	@files="$$(gofmt -l cmd config ingest rules stream webui/*.go webui/*/*.go 2>/dev/null | grep -v node_modules || true)"; \
	if [ -n "$$files" ]; then echo "gofmt would change:"; echo "$$files"; exit 1; fi
	$(GO) -C .tools build -o ../$(LINT) ./lint
	GOGC=400 GOFLAGS="$(GOFLAGS) $(RACE)" $(LINT) ./...

# What tests leave to a run without the race detector (ingest/raced): of packages, and of
# the daemon. A test in cmd/internal/archtest keeps the lists whole.
PLAIN := ./stream/journal/sqlite ./ingest/hostile ./ingest/importing
PLAIN_TESTS := TestAMachineWithAFullDiskGivesWay|TestHistorySurvivesAKill|TestBackupOfARunningDaemon|TestWhatAMatHolds|TestLiveIsRehearsed|TestTheDiskOfADaemonFills|TestDamageIsNamed|TestRealRecordingsImported|TestAPersonIsErasedAndTheWardGoesOn|TestScripts|TestRecordScripts|TestExamplesRun|TestAnInterruptedImportGoesOn|TestKilledUnderLoad|TestKilledWhileSending|TestTheRecipeOfThreeServers|TestTheRecipeOfAWardAndItsCentre|TestAKeyIsWithdrawn|TestLinksFromATerminal|TestTheWayFromAFolderToAReport|TestTheWayFromABoardToAnAlert|TestSecretsAreSaidNowhere|TestAJudgeIsKilledWhileItCatchesUp|TestOthersReadWhatWeWrite|TestReadingsThatAreHeldUpAreSaid|TestMachinesAreReplacedOneAfterTheOther|TestTheClockIsSetBack|TestWhatManyPlacesSendIsKept|TestReadingsWaitForAJudge|TestSharesAreCarried|TestEachRoleHasAMachine

# What runs against a clock comes first, and what it leaves of the machine is for the packages
# that are calm. Many of the other tests wait, for a clock or a disk, so there are three
# packages at a time, and more tests than there are cores; those that take longest come first.
LONG := ./cmd/weald ./stream/journal/sqlite ./stream/journal/replicated ./stream/keeper ./stream/relay ./webui

go-test: plain-test calm-test race-test

plain-test: $(WEB) packages
	$(GO) test -vet=off -parallel 10 -run '^($(PLAIN_TESTS))$$' ./cmd/weald

# A program with the race detector waits for a second before it ends, in case something
# that goes on meanwhile is a race; there are some hundred such programs.
race-test: $(WEB) packages
	GORACE=atexit_sleep_ms=20 $(GO) test -vet=off $(RACE) -p 3 -parallel 4 -timeout 30m $(LONG) $$($(GO) list ./... | grep -vxF "$$($(GO) list $(CALM) $(COUNTED))")

calm-test: $(WEB) packages
	nice -n 19 $(GO) test -vet=off $(CALM) $(PLAIN) $(COUNTED)

web-test: webui/node_modules/.package-lock.json
	cd webui && npm run --silent check && npm run --silent test

# Every fuzz target for its time, three at a time, in what others leave of the cores;
# the list is what the tests declare.
# New paths are looked for in what the target is for, and for the configuration in what
# reads YAML: the rest stays as it was compiled, which leaves more of the time for trying.
# Now and then the end of its time is all that Go complains of (go.dev/issue/75804, mended
# in 1.27); what is found comes with the input that failed.
GUIDED_ALSO := go.yaml.in/...
OURS := FuzzReader FuzzReadLife FuzzReadCells rules/state/FuzzRead FuzzRestorePlace FuzzCut FuzzPages FuzzOpen FuzzCall \
  FuzzLabel FuzzTAL FuzzDecode stream/access/password/FuzzParse

fuzz: $(WEB)
	@mkdir -p .cache/fuzz; found=$$(go env GOCACHE)/fuzz; \
	targets=$$(grep -r --include='*_test.go' -o '^func Fuzz[A-Za-z0-9_]*' cmd config ingest rules stream webui/*.go webui/api webui/gate \
	  | sed -E 's#^(.*)/[^/]*:func (.*)#\1 \2#' | sort -u); \
	for p in $$(echo "$$targets" | cut -d' ' -f1 | uniq); do \
	  also=; [ $$p = config ] && also='-gcflags=$(GUIDED_ALSO)=-d=libfuzzer'; \
	  nice -n 19 $(GO) test -c -vet=off -ldflags='-s -w' "-gcflags=weald/$$p/...=-d=libfuzzer" $$also -o ".cache/fuzz/$$p/fuzz.test" "./$$p" || exit 1; done; \
	echo "$$targets" | nice -n 19 xargs -P 3 -L 1 sh -c 'echo "fuzz $$0 $$1"; cd $$0 || exit 255; at='"$$PWD"'/.cache/fuzz/$$0; \
	  t=$(FUZZTIME); case " $(OURS) " in *" $$1 "*|*" $$0/$$1 "*) t=$(OURSTIME);; esac; \
	  $$at/fuzz.test -test.run "^$$" -test.fuzz "^$$1\$$" -test.fuzztime $$t -test.fuzzminimizetime 200ms -test.parallel 1 \
	    -test.fuzzcachedir '"$$found"'/weald/$$0 >$$at/$$1.log 2>&1 \
	  || { grep -q "^ *context deadline exceeded$$" $$at/$$1.log && ! grep -qi "failing input\|panic\|fatal" $$at/$$1.log; } \
	  || { cat $$at/$$1.log; exit 255; }'

# The real daemon in a real browser: all stories, those that bear company, and those
# that are measured.
e2e: stories figures

stories: $(BIN) packages
	cd webui && npm run --silent e2e -- --beside

figures: $(BIN) packages
	cd webui && npm run --silent e2e -- --alone

modules:
	$(GO) mod download
	$(GO) mod download -modfile=.tools/go.mod

# What tests need of Debian: a broker of other people's making, a message bus for the
# stand-in of the Bluetooth service, another reader of EDF+, what counts instructions,
# and a browser. Debian keeps mosquitto out of PATH, in /usr/sbin. Of Prometheus only
# promtool is taken, into .cache: the package would start a service.
packages: .cache/promtool
	@missing=""; \
	{ command -v mosquitto || [ -x /usr/sbin/mosquitto ]; } >/dev/null || missing="$$missing mosquitto"; \
	{ command -v mosquitto_pub && command -v mosquitto_passwd; } >/dev/null || missing="$$missing mosquitto mosquitto-clients"; \
	command -v dbus-daemon >/dev/null || missing="$$missing dbus"; \
	command -v save2gdf >/dev/null || missing="$$missing biosig-tools"; \
	command -v valgrind >/dev/null || missing="$$missing valgrind"; \
	command -v chromium >/dev/null || missing="$$missing chromium"; \
	[ -z "$$missing" ] || { \
	  echo "installing for the tests:$$missing"; \
	  if [ "$$(id -u)" = 0 ]; then sudo=; else sudo=sudo; fi; \
	  $$sudo apt-get update -qq && $$sudo apt-get install -y -qq --no-install-recommends $$missing; }

.cache/promtool:
	@rm -rf .cache/deb && mkdir -p .cache/deb
	@cd .cache/deb && { apt-get download -qq prometheus 2>/dev/null || { \
	  if [ "$$(id -u)" = 0 ]; then sudo=; else sudo=sudo; fi; \
	  $$sudo apt-get update -qq && apt-get download -qq prometheus; }; }
	@dpkg-deb --fsys-tarfile .cache/deb/prometheus_*.deb | tar -xO ./usr/bin/promtool >.cache/deb/promtool
	@chmod +x .cache/deb/promtool && mv .cache/deb/promtool $@ && rm -r .cache/deb

# The faults of the record at length, by hand: about an hour, as root, on a machine
# that does nothing else. CI runs small versions of the same tests.
faults: $(WEB) packages
	$(GO) test ./cmd/weald -v -timeout 60m -run 'TestLiveIsRehearsed$$' -day
	$(GO) test ./cmd/weald -v -timeout 30m -run 'TestKilledUnderLoad$$' -kills 200
	$(GO) test ./cmd/weald -v -timeout 30m -run 'TestPowerCutOfADaemon$$' -powercuts 100
	$(GO) test ./cmd/weald -v -timeout 30m -run 'TestDamageIsNamed$$' -damages 40
	$(GO) test ./cmd/weald -v -timeout 10m -run 'TestTheDiskOfADaemonFills$$|TestTheClockIsSetBack$$'
	$(GO) test ./cmd/weald -v -timeout 10m -run 'TestAnAlertIsToldAtOnce$$' -raises 400
	$(GO) test $(RACE) ./cmd/weald -v -timeout 60m -run 'TestSoak$$' -soak 1h
	$(GO) test ./stream/journal/replicated -v -timeout 90m -run 'TestTheLinkToAWardIsCut$$' -cut 1h
	@$(MAKE) --no-print-directory deb
	$(GO) test ./cmd/weald -v -timeout 10m -run 'TestABuiltPackage$$' -deb "$$(ls -t $$PWD/bin/weald_*.deb | head -1)"
	$(GO) test ./cmd/weald -v -timeout 10m -run 'TestTheRecipeOfThreeServers$$' -recipe
	$(GO) test ./stream/journal/sqlite -v -timeout 60m -faults 200

bench:
	$(GO) test -run '^$$' -bench . -benchmem ./...

# Writes down how many instructions each stage of a reading takes now. CI holds every
# change to that, within a tenth: renew it with what makes something cost less, or more
# for a good reason.
toll:
	$(GO) test ./cmd/internal/toll -run Instructions -v -update

# Renews the profile that releases are built by, in about eight minutes, and holds each stage
# of a reading in a build by it to what the plain one takes.
profile: $(WEB)
	$(GO) test ./cmd/weald -run 'TestProfile$$' -v -timeout 60m -profile
	GOFLAGS="$(GOFLAGS) -pgo=$(CURDIR)/$(PROFILE)" $(GO) test -vet=off ./cmd/internal/toll -run Instructions -v

# How many places one daemon carries: about twenty minutes, on a machine that does nothing
# else. The figures, their plot and what follows from them for a hospital, all three of
# which belong into the repository, go into cmd/weald/testdata/scale.
scale: $(WEB)
	$(GO) test ./cmd/weald -run 'TestScale$$' -v -timeout 60m -scale testdata/scale

clean:
	rm -rf bin .cache webui/dist/assets webui/dist/index.html webui/node_modules
