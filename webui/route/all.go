package route

import "weald/stream/access"

const (
	get  = "GET"
	post = "POST"

	v1 = "/api/v1"
)

// All are the routes. A route that everybody may ask for says so with access.Nobody:
// it has nothing of anybody, or looks itself at what opens it.
var All = []Route{
	// What is known without having said who one is.
	{"pages", get, "/{path...}", access.Nobody, None},
	{"healthz", get, "/healthz", access.Nobody, None},
	{"readyz", get, "/readyz", access.Nobody, None}, // reasons are for those who may see places
	{"openapi", get, v1 + "/openapi.json", access.Nobody, None},
	{"defaults", get, v1 + "/defaults", access.Nobody, None},
	{"figures", get, v1 + "/figures", access.Nobody, None},
	{"compression", get, v1 + "/compression", access.Nobody, None},
	{"prediction", get, v1 + "/compression/prediction", access.Nobody, None},

	// Who one is.
	{"me", get, v1 + "/me", access.Nobody, None},
	{"log-in", post, v1 + "/log-in", access.Nobody, Log},
	{"log-out", post, v1 + "/log-out", access.Nobody, Log},
	{"here", post, v1 + "/me/here", access.Nobody, None},
	{"directory-begin", get, v1 + "/directory/begin", access.Nobody, Log},
	{"directory-return", get, v1 + "/directory/return", access.Nobody, Log},
	{"open-screen", post, v1 + "/screen", access.Nobody, Log},
	{"change-password", post, v1 + "/me/password", access.Viewer, Account},

	// What the key of a link to a seat opens.
	{"my-seat", get, v1 + "/my-seat", access.Nobody, See},
	{"my-seat-day", get, v1 + "/my-seat/day", access.Nobody, See},

	// The present, for everybody who looks at a wall.
	{"live", get, "/live", access.Wall, See},
	{"places", get, v1 + "/places", access.Wall, See},
	{"place", get, v1 + "/places/{place}", access.Wall, See},
	{"signals", get, v1 + "/places/{place}/signals", access.Wall, See},
	{"map", get, v1 + "/places/{place}/map", access.Wall, See},
	{"alerts", get, v1 + "/alerts", access.Wall, See},
	{"bridges", get, v1 + "/bridges", access.Wall, None},

	// The record, and the equipment.
	{"audit", get, v1 + "/audit", access.Admin, See},
	{"leaves", get, v1 + "/leaves", access.Viewer, None},
	{"metrics", get, "/metrics", access.Viewer, None},
	{"senders", get, v1 + "/senders", access.Viewer, None},
	{"self", get, v1 + "/self", access.Viewer, None},
	{"raw", get, v1 + "/bridges/{bridge}/sources/{source}/raw", access.Viewer, None},
	{"regions", get, v1 + "/places/{place}/regions", access.Viewer, See},
	{"alert-changes", get, v1 + "/alerts/changes", access.Viewer, See},
	{"alert-figures", get, v1 + "/alerts/figures", access.Viewer, See},
	{"marks", get, v1 + "/places/{place}/marks", access.Viewer, See},
	{"sessions", get, v1 + "/sessions", access.Viewer, See},
	{"session", get, v1 + "/sessions/{session}", access.Viewer, See},
	{"attempts", get, v1 + "/attempts", access.Viewer, See},
	{"attempt", get, v1 + "/attempts/{attempt}", access.Viewer, See},
	{"record", get, v1 + "/record", access.Viewer, None},
	{"calibrations", get, v1 + "/calibrations", access.Viewer, None},
	{"calibration", get, v1 + "/calibrations/{calibration}", access.Viewer, None},
	{"calibration-sheet", get, v1 + "/calibrations/{calibration}/sheet", access.Viewer, Report},
	{"calibration-run", get, v1 + "/calibrations/run", access.Viewer, None},
	{"calibration-run-channel", get, v1 + "/calibrations/run/channels/{channel}", access.Viewer, None},
	{"checks", get, v1 + "/calibrations/{calibration}/checks", access.Viewer, None},
	{"zeroings", get, v1 + "/zeroings", access.Viewer, None},
	{"rehearsals", get, v1 + "/rehearsals", access.Viewer, See},
	{"rehearsal", get, v1 + "/rehearsals/{rehearsal}", access.Viewer, See},
	{"rehearsed-alerts", get, v1 + "/rehearsals/{rehearsal}/alerts", access.Viewer, See},
	{"proposals", get, v1 + "/proposals", access.Viewer, See},
	{"report-session", get, v1 + "/reports/session/{session}", access.Viewer, Report},
	{"report-attempt", get, v1 + "/reports/attempt/{attempt}", access.Viewer, Report},
	{"report-night", get, v1 + "/reports/night/{place}", access.Viewer, Report},
	{"report-trial", get, v1 + "/reports/trial", access.Viewer, Report},

	// At the bed and at the bench.
	{"acknowledge", post, v1 + "/alerts/{alert}/acknowledge", access.Carer, Act},
	{"shelve", post, v1 + "/alerts/{alert}/shelve", access.Carer, Act},
	{"unshelve", post, v1 + "/alerts/{alert}/unshelve", access.Carer, Act},
	{"in-service", post, v1 + "/alerts/{alert}/in-service", access.Carer, Act},
	{"mark", post, v1 + "/places/{place}/marks", access.Carer, Note},
	{"begin-session", post, v1 + "/sessions", access.Carer, Note},
	{"end-session", post, v1 + "/sessions/{session}/end", access.Carer, Note},
	{"note-session", post, v1 + "/sessions/{session}/notes", access.Carer, Note},
	{"begin-attempt", post, v1 + "/attempts", access.Carer, Note},
	{"read-attempt", post, v1 + "/attempts/{attempt}/readings", access.Carer, Note},
	{"end-attempt", post, v1 + "/attempts/{attempt}/end", access.Carer, Note},
	{"leave-attempt", post, v1 + "/attempts/{attempt}/leave", access.Carer, Note},
	{"attempts-csv", get, v1 + "/attempts.csv", access.Carer, Export},
	{"zero", post, v1 + "/zeroings", access.Carer, Calibrate}, // a step of a try; 5 mmHg at most, and it can be undone

	// At the workbench.
	{"out-of-service", post, v1 + "/alerts/{alert}/out-of-service", access.Engineer, Act}, // has no end
	{"calibrate", post, v1 + "/calibrations", access.Engineer, Calibrate},
	{"check", post, v1 + "/calibrations/{calibration}/checks", access.Engineer, Calibrate},
	{"begin-calibration-run", post, v1 + "/calibrations/run", access.Engineer, Calibrate},
	{"calibration-run-ready", post, v1 + "/calibrations/run/ready", access.Engineer, Calibrate},
	{"calibration-run-again", post, v1 + "/calibrations/run/again", access.Engineer, Calibrate},
	{"calibration-run-finish", post, v1 + "/calibrations/run/finish", access.Engineer, Calibrate},
	{"calibration-run-leave", post, v1 + "/calibrations/run/leave", access.Engineer, Calibrate},
	{"calibration-run-gauge", post, v1 + "/calibrations/run/gauge", access.Engineer, Calibrate},
	{"calibration-run-keep", post, v1 + "/calibrations/run/keep", access.Engineer, Calibrate},
	{"check-regions", post, v1 + "/places/{place}/regions", access.Engineer, Configure},
	{"check-place", post, v1 + "/setup/place", access.Engineer, Configure},
	{"configuration", get, v1 + "/configuration", access.Engineer, Configure},
	{"configuration-versions", get, v1 + "/configuration/versions", access.Engineer, Configure},
	{"check-configuration", post, v1 + "/configuration/check", access.Engineer, None}, // a text that is being typed
	{"put-configuration", post, v1 + "/configuration/put", access.Engineer, None},
	{"apply-configuration", post, v1 + "/configuration/apply", access.Engineer, Configure},
	{"rehearse", post, v1 + "/rehearsals", access.Engineer, Rehearse},
	{"stop-rehearsal", post, v1 + "/rehearsals/{rehearsal}/stop", access.Engineer, Rehearse},
	{"rehearse-exactly", post, v1 + "/rehearsals/{rehearsal}/exact", access.Engineer, Rehearse},
	{"propose", post, v1 + "/rehearsals/{rehearsal}/proposals", access.Engineer, Rehearse},
	{"exports", get, v1 + "/exports", access.Engineer, None},
	{"one-export", get, v1 + "/exports/{export}", access.Engineer, None},
	{"export", post, v1 + "/exports", access.Engineer, Export},
	{"stop-export", post, v1 + "/exports/{export}/stop", access.Engineer, Export},
	{"export-file", get, v1 + "/exports/{export}/files/{name}", access.Engineer, Export},
	{"seat-links", get, v1 + "/seat-links", access.Engineer, None},
	{"make-seat-link", post, v1 + "/seat-links", access.Engineer, Link},
	{"withdraw-seat-link", post, v1 + "/seat-links/{link}/withdraw", access.Engineer, Link},

	// Who may do what.
	{"accounts", get, v1 + "/accounts", access.Admin, None},
	{"make-account", post, v1 + "/accounts", access.Admin, Account},
	{"account-role", post, v1 + "/accounts/{account}/role", access.Admin, Account},
	{"account-password", post, v1 + "/accounts/{account}/password", access.Admin, Account},
	{"account-directory", post, v1 + "/accounts/{account}/directory", access.Admin, Account},
	{"account-log-out", post, v1 + "/accounts/{account}/log-out", access.Admin, Account},
	{"remove-account", post, v1 + "/accounts/{account}/remove", access.Admin, Account},
	{"erase-person", post, v1 + "/erasures", access.Admin, Erase},
	{"passes", get, v1 + "/passes", access.Admin, None},
	{"make-pass", post, v1 + "/passes", access.Admin, Link},
	{"withdraw-pass", post, v1 + "/passes/{pass}/withdraw", access.Admin, Link},
}
