package shape

// Sender is a way to somebody; exactly one of webhook, mail and topic is given.
type Sender struct {
	// Name of the sender, unique among them.
	ID ID `yaml:"id" jsonschema:"required"`

	// A signed HTTP request for each message.
	Webhook *Webhook `yaml:"webhook"`

	// An e-mail for each message.
	Mail *Mail `yaml:"mail"`

	// Topics of a site's MQTT broker, for a lamp, a relay or a program.
	Topic *Topic `yaml:"topic"`

	// Priorities of alerts that it is for. Default: all of them.
	Priorities []Priority `yaml:"priorities"`

	// The places that it is for. Default: all of them. The daemon's own alerts
	// reach every sender of their priority.
	At At `yaml:"at"`

	// When it is there, and for which tiers; an alert that is not acknowledged
	// within the rule's escalate_after is the next tier's. What calls when a
	// window opens is sent then. Default: at every hour for every tier.
	When []When `yaml:"when"`

	// Whether who was called is told once, at any hour, that somebody has it, or
	// that it is over or put aside. Default true.
	FollowUps *bool `yaml:"follow_ups"`

	// Time of the local day at which a test is sent, or never. Without it nobody learns
	// that a way is closed before it is needed. Default 08:00.
	DailyTest Daily `yaml:"daily_test" jsonschema:"default=08:00"`

	// How long a message may wait before it is given up, from 1m to 20h. Default 12h.
	GiveUpAfter Duration `yaml:"give_up_after" jsonschema:"default=12h"`

	// How many messages may wait. Beyond it the oldest that calls nobody is given up,
	// then the oldest of the lowest priority. Default 1000.
	MostWaiting int `yaml:"most_waiting" jsonschema:"minimum=10,maximum=100000,default=1000"`
}

// When is a span of the day on some days of the week for some tiers.
type When struct {
	// Which tiers, from 1 to 3. Default: all of them.
	Tiers []Tier `yaml:"tiers"`

	// Days on which it begins: mon, tue, wed, thu, fri, sat, sun. Default: every
	// day.
	Days []Day `yaml:"days"`

	// When it begins, such as 07:00, on the clock of this machine. Default 00:00.
	From Clock `yaml:"from" jsonschema:"default=00:00"`

	// When it ends, such as 21:00; if that is not after from, on the next day.
	// Default 00:00.
	To Clock `yaml:"to" jsonschema:"default=00:00"`
}

// Webhook is a program that takes HTTP requests.
type Webhook struct {
	// Address, http or https; without https messages can be read on their way. It
	// is kept in the record with this file. Either this, or url_file or url_env.
	URL string `yaml:"url"`

	// File whose first line is the address, where the address is itself a secret.
	URLFile string `yaml:"url_file"`

	// Variable of the environment that has the address.
	URLEnv string `yaml:"url_env"`

	// File whose first line is the secret that signs requests. Relative to the
	// configuration file. Either this or secret_env.
	SecretFile string `yaml:"secret_file"`

	// Variable of the environment that has the secret.
	SecretEnv string `yaml:"secret_env"`

	// For https, whom to trust. Default: what the system trusts.
	TLS *ClientTLS `yaml:"tls"`
}

// Mail is a mail server and who gets mail.
type Mail struct {
	// Address and port of the server, such as mail.larch:587.
	Server string `yaml:"server" jsonschema:"required"`

	// starttls asks for TLS on a plain connection and goes no further without it;
	// implicit begins with TLS, as on port 465; none sends what anybody on the way
	// can read. Default starttls.
	Security string `yaml:"security" jsonschema:"enum=starttls,enum=implicit,enum=none,default=starttls"`

	// For TLS, whom to trust. Default: what the system trusts.
	TLS *ClientTLS `yaml:"tls"`

	// Account at the server. Default: none. Needs TLS, as the password could be
	// read otherwise.
	User Text `yaml:"user"`

	// File whose first line is the password of user. Either this or password_env.
	PasswordFile string `yaml:"password_file"`

	// Variable of the environment that has the password.
	PasswordEnv string `yaml:"password_env"`

	// Address that mail comes from.
	From string `yaml:"from" jsonschema:"required"`

	// Addresses that mail goes to.
	To []string `yaml:"to" jsonschema:"required,minItems=1"`
}

// Topic is where at a broker messages go.
type Topic struct {
	// Address and port of the broker, such as broker:1883. It has to speak MQTT 5 or 3.1.1.
	Broker string `yaml:"broker" jsonschema:"required"`

	// Topic under which the sender publishes: NAME/lamp is off, low, medium or
	// high, retained, and gone when the daemon is gone or hangs; NAME/events is each message
	// as JSON. Default: weald/ and the sender's id.
	Name string `yaml:"name"`

	// Name of this machine's account at the broker. Default: none.
	User Text `yaml:"user"`

	// File whose first line is the password of user. Either this or password_env.
	PasswordFile string `yaml:"password_file"`

	// Variable of the environment that has the password.
	PasswordEnv string `yaml:"password_env"`

	// Name under which the broker knows this client; no two may bear the same.
	// Default: weald-send- and the sender's id.
	ClientID Text `yaml:"client_id"`

	// Asks for TLS towards the broker; may be empty ({}). Default: none, and what
	// is sent, passwords too, can be read on its way.
	TLS *ClientTLS `yaml:"tls"`
}
