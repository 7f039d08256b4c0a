# The one gate is `make test`; continuous integration runs the same.
.PHONY: build demo test lint bench evidence fuzz screenshots clean

build: ## the program, in bin/
	go build -trimpath -o bin/chainline ./cmd/chainline

demo: build ## the main job on an invented scenario: briefs in the terminal and as pages in bin/demo
	@demo/run

decoder = internal/fitfile/testdata/decoder
types = internal/web/assets/testdata/types

test: lint types $(decoder)/node_modules ## what has to pass
	go test -timeout 20m -parallel 3 ./...
	go test -race -run 'Forecast|Workers|Stopped|SameForAny|Stops' ./pacing ./internal/cli
	go test -race ./internal/live ./internal/sensor

$(decoder)/node_modules: $(decoder)/package-lock.json ## the independent FIT decoder, for tests only
	npm ci --prefix $(decoder) --no-audit --no-fund --silent
	@touch $@

.PHONY: types
types: $(types)/node_modules ## the types of the pages' script, which the bundler only strips
	$(types)/node_modules/.bin/tsc -p $(types)

$(types)/node_modules: $(types)/package-lock.json ## TypeScript's compiler, for this check only
	npm ci --prefix $(types) --no-audit --no-fund --silent
	@touch $@

lint:
	@bad=$$(gofmt -l .); if [ -n "$$bad" ]; then echo "not gofmt-clean: $$bad"; exit 1; fi
	go vet ./...
	GOOS=windows CGO_ENABLED=0 go build ./internal/sensor/bluetooth
	GOOS=darwin CGO_ENABLED=0 go build ./internal/sensor/bluetooth

bench: ## speed, with the processor and a calibration loop
	go test -run '^$$' -bench . -benchmem ./physics ./pacing
	go test -run '^$$' -bench . ./internal/sensor/... ./internal/journal ./internal/fitfile
	go test -run '^$$' -bench . -benchmem ./debrief ./internal/intake
	go test -run '^$$' -bench 'Import$$|SeasonOfRides' -benchtime 1x -timeout 20m ./internal/service
	go test -run '^$$' -bench ThousandRaces -benchtime 1x -timeout 20m ./race
	go test -run '^$$' -bench . -benchtime 1x -timeout 20m ./internal/ride
	go test -run '^$$' -bench 'BriefChange|Pages' -benchtime 40x ./internal/web
	go test -run TestSpeed -v -count 1 ./internal/evidence -args -speed

evidence: ## recompute the tables in docs/evidence.md (minutes)
	go run ./internal/evidence/write
	go test -run 'GateProperties|EngineProperties|TestKilled' -v -count 1 -timeout 60m ./internal/ride -args -all
	go test -run TestDamage -v -count 1 -timeout 60m ./internal/fitfile -args -all
	go test -run 'Coverage|Learn|Road|TimeOff' -v -count 1 -timeout 60m ./capacity ./debrief -args -all
	CHAINLINE_BEYOND=12 go test -run Beyond -v -count 1 -timeout 30m ./rig

fuzz: ## half a minute on every reader
	for f in FuzzReadGPX FuzzReadCSV; do go test -run '^$$' -fuzz "^$$f$$" -fuzztime 30s ./course || exit 1; done
	for f in $$(go test -list '^Fuzz' ./internal/sensor/gatt | grep ^Fuzz); do go test -run '^$$' -fuzz "^$$f$$" -fuzztime 30s ./internal/sensor/gatt || exit 1; done
	go test -run '^$$' -fuzz '^FuzzSignals$$' -fuzztime 30s ./internal/sensor/bluetooth
	go test -run '^$$' -fuzz '^FuzzRead$$' -fuzztime 30s ./internal/calendar
	for f in FuzzAsk FuzzAnswer; do go test -run '^$$' -fuzz "^$$f$$" -fuzztime 30s ./internal/bunch || exit 1; done
	for f in FuzzReadResults FuzzOpenShare; do go test -run '^$$' -fuzz "^$$f$$" -fuzztime 30s ./internal/service || exit 1; done
	for f in FuzzGPX FuzzCSV; do go test -run '^$$' -fuzz "^$$f$$" -fuzztime 30s ./internal/intake || exit 1; done
	go test -run '^$$' -fuzz '^FuzzReadActivity$$' -fuzztime 30s ./internal/fitfile
	for f in FuzzRider FuzzRig FuzzRoad FuzzEvent FuzzPlan; do go test -run '^$$' -fuzz "^$$f$$" -fuzztime 30s ./internal/input || exit 1; done

screenshots: ## pictures of every page at phone and laptop width, in docs/screens
	rm -f docs/screens/*.png
	go test -count 1 -run TestScreens ./internal/browser -args -screens $(CURDIR)/docs/screens

clean:
	rm -rf bin
