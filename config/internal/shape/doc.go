// Package shape is the configuration file as it is written: its keys, what each
// may hold, and what it is when left out.
//
// The comments on the fields are the descriptions in the JSON Schema, and so
// what editors show to whoever writes a file; they name units and defaults;
// where a default comes from the generator adds from config/figures. The tags are read by package tree and by the
// generator of the schema alike. What a file means is package config's matter.
package shape

// File is a whole configuration.
type File struct {
	// Folder in which the daemon keeps the record; captures with a relative path
	// are made in it too. A relative path is relative to the configuration file.
	// Default: none, and there is no record: the last hour is remembered in memory, and
	// captures go to the folder of the configuration file.
	Data string `yaml:"data"`

	// For how long the record keeps what. What is not named is kept for ever.
	Keep Keep `yaml:"keep"`

	// The pages and the HTTP interface.
	Web Web `yaml:"web"`

	// The daemon's own MQTT listener, for bridges with link: {mqtt: {listener:
	// true}}. Default: none.
	MQTT *Broker `yaml:"mqtt"`

	// Connections that readings come from, each with its sources.
	Bridges []Bridge `yaml:"bridges"`

	// Limbs, beds and seats: where the sensors are.
	Places []Place `yaml:"places"`

	// What to watch for.
	Rules []Rule `yaml:"rules"`

	// Whom to send messages about alerts to, and how. Needs data: what is to be
	// sent is on the disk first. A message that is sent is not one that is seen,
	// and weald is not a medical alarm system. Default: nobody.
	Notify []Sender `yaml:"notify"`

	// Whoever outside has to notice that the daemon does not do its work: who is
	// told at intervals that it does, and goes by the silence. Default: nobody.
	Heartbeat *Heartbeat `yaml:"heartbeat"`

	// What the daemon watches of itself, and when it raises an alert of its own.
	Self Self `yaml:"self"`

	// Keeps the record on several machines at once, through the log of a NATS cluster:
	// one machine reads the bridges and judges, the others stand by with all that it has
	// kept, and one of them takes over when it is gone. Needs data. Default: one machine.
	Cluster *Cluster `yaml:"cluster"`
}

// Web is how people and programs reach the daemon.
type Web struct {
	// Address and port of the pages. Anything but loopback requires tls and
	// accounts. Port 0 lets the system choose. Default 127.0.0.1:8420.
	Listen string `yaml:"listen" jsonschema:"default=127.0.0.1:8420"`

	// Host names and addresses under which people and programs ask for the pages,
	// such as weald.larch.example; those of a proxy on this machine too. Under any
	// other host name nothing is answered, as a hostile page could have brought it
	// about. With self_signed the certificate is for them. The address of listen and
	// the loopback names need not be among them. At most 32. Default: none.
	Names []Host `yaml:"names"`

	// Serves the pages over TLS. Default: none, and what is sent can be read and
	// changed on its way.
	TLS *WebTLS `yaml:"tls"`

	// required: whoever wants to see or do something logs in, with an account that
	// says what that may be. Needs data, where accounts are kept; the first one is
	// made on the machine, with weald account add. Default: none, and everybody who
	// reaches the pages may do everything.
	Accounts string `yaml:"accounts" jsonschema:"enum=required"`

	// For how long a log-in lasts.
	Session Session `yaml:"session"`

	// A directory of the house at which people can log in too, by OpenID Connect.
	// Needs accounts: what somebody may do is a matter of the account here, at which an
	// admin enters who that is there. Log-ins with a password work on, whether or not it
	// answers. Default: none.
	OIDC *OIDC `yaml:"oidc"`
}

// OIDC is a directory that speaks OpenID Connect.
type OIDC struct {
	// Its address, as it names itself: https://login.larch.example.
	Issuer string `yaml:"issuer" jsonschema:"required"`

	// What it calls this daemon.
	ClientID Text `yaml:"client_id" jsonschema:"required"`

	// A file whose first line is the secret that it knows this daemon by; none for a
	// public client.
	SecretFile string `yaml:"secret_file"`

	// A variable of the environment with the secret, in place of the file.
	SecretEnv string `yaml:"secret_env"`

	// The claim by which it tells people apart, and which it gives to nobody else
	// later on. Default sub.
	Claim Text `yaml:"claim" jsonschema:"default=sub"`

	// Under which address browsers reach the pages: it sends them back to
	// /api/v1/directory/return there, which it has to know.
	Base string `yaml:"base" jsonschema:"required"`
}

// Session says for how long a log-in lasts.
type Session struct {
	// Without anybody doing anything; a page that is only looked at is left by
	// itself. Default 30m.
	Idle Duration `yaml:"idle" jsonschema:"default=30m"`

	// Whatever is done. Default 12h.
	Longest Duration `yaml:"longest" jsonschema:"default=12h"`
}
