# Everything that is done to this project has a target here; `make help` lists them.

.PHONY: help test tests races long vet build demo bench study faults package licences
.DEFAULT_GOAL := help

help: ## list the targets
	@sed -n 's/^\([a-z-]*\):.*## /\1: /p' $(MAKEFILE_LIST)

# What runs goroutines is tested again under the race detector, without the long
# simulations and the long tests in which one goroutine does everything: of damaged
# files, and of thousands of imported runs. Of the command lines those are, in which an
# agent, a command and a person do something at once; the detector makes what one command
# does with the data 30 times slower. `make long` leaves nothing out.
SEQUENTIAL = ^(TestFlippedBytes|TestMergeLeavesBadRunsOut|TestEveryFailureIsTold|TestDamagedLogs|TestImportAllOrNone|TestImportIsStoringOneByOne)$$
CONCURRENT = ./actuators ./agent ./collectors ./console ./exporter ./schedule ./store/... ./testday ./internal/simdevice
AT_ONCE = ^(TestRunFromStartToStop|TestRunWatch|TestSecondAgentIsRefused|TestMetricsAnswerAndTheRestStaysHere|TestAgentStartedAgainKnowsTheIdle|TestAgentThat.*|TestAgentTellsTheServiceManager|TestWatchdogIsFed.*|TestStopMeansStop|TestStopTypedAgain|TestStartOutcomes|TestStatusFollows|TestStoppedIntake|TestSettingCommand.*|TestCommandsFindTheAgentsData|TestFilesTravel|TestCorrectingNeedsTheRight|TestDemoLive.*|TestDeclaredSettingOutlivesTheAgent|TestIdleTail|TestShowWhileRecording|TestAGoodRunWhoseAgentDiedIsKept|TestNamesAreAskedAboutAtATerminal|TestPlanRun.*|TestGuardsOfAWholeAgent)$$

# Most tests wait for processes and clocks, so two lines of them keep two processors
# busy. Whatever fails, the other line ends, and what it says is whole.
test: ## install what the tests need (Debian, as root), then vet and test everything
	.ci/install
	test -z "$$(gofmt -l . | tee /dev/stderr)"
	go vet ./...
	GOOS=windows go vet ./...
	@$(MAKE) --no-print-directory --jobs=2 --keep-going tests races

tests: ## the tests
	go test -timeout 25m ./...

races: ## tests under the race detector
	go test -race -short -timeout 20m -skip '$(SEQUENTIAL)' $(CONCURRENT)
	go test -race -short -timeout 15m -run '$(AT_ONCE)' ./cmd/sweepd

long: ## what takes too long for each change: all tests under the race detector, programs compiled anew, make study, make faults: hours
	go test -race -timeout 3h $(CONCURRENT) ./cmd/sweepd
	go test -count=1 -timeout 1h -run 'TestTwoBuildsAreTheSame' ./deploy -long
	SWEEPD_DAYS=20 go test -count=1 -timeout 1h -run 'TestAWholeDayWithoutHands' ./internal/simlab
	@$(MAKE) --no-print-directory study faults

vet: ## vet for Linux and Windows
	go vet ./...
	GOOS=windows go vet ./...

build: ## build the static binary into bin/
	CGO_ENABLED=0 go build -trimpath -ldflags '-s -w' -o bin/sweepd ./cmd/sweepd

demo: ## a whole simulated test day in seconds
	@[ -x bin/sweepd ] || echo "the first build fetches modules and compiles a database: it takes one to four minutes"
	@$(MAKE) --no-print-directory build
	bin/sweepd demo

bench: ## what watching costs: takes half an hour on a quiet machine
	go run ./internal/cost

study: ## repeat the operating characteristics of the statistics: takes minutes
	go test -count=1 -v -timeout 2h -run TestStudy ./analysis -study.full -study.campaigns 2000
	go test -count=1 -v -timeout 1h -run TestStudySummary ./report -study.days 200

faults: ## plant 100 faults, see how many the tests notice: takes half an hour
	nice -n 10 go run ./internal/faults --total 100 --out out/faults.jsonl

package: ## build packages for Debian, rpm and Arch and an archive for a home folder, for amd64 and arm64, into dist/
	deploy/package dist

licences: ## list the modules with their versions and licences in deploy/licences.md
	go -C deploy/tools run ./licences >deploy/licences.md.new && mv deploy/licences.md.new deploy/licences.md
