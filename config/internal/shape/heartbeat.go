package shape

// Heartbeat is who is told at intervals that the daemon does its work; webhook, topic or
// both are given. A beat goes out only after the rules' loop has turned and all that
// waited for the record was on the disk; where that does not happen there is none.
type Heartbeat struct {
	// How often, from 5s to 1h. Whoever waits should take three that are missing for
	// the end, as one can be lost on its way. Default 1m.
	Every Duration `yaml:"every" jsonschema:"default=1m"`

	// A signed HTTP request for each beat.
	Webhook *Webhook `yaml:"webhook"`

	// A topic of an MQTT broker, at which the time of the newest beat is retained.
	Topic *HeartTopic `yaml:"topic"`
}

// HeartTopic is where at a broker the time of the newest beat is.
type HeartTopic struct {
	// Address and port of the broker, such as broker:1883. It has to speak MQTT 5 or 3.1.1.
	Broker string `yaml:"broker" jsonschema:"required"`

	// Topic under which it is: NAME/time is the time of the newest beat, in RFC 3339,
	// retained, and gone when the daemon is gone. Default: weald/heartbeat.
	Name string `yaml:"name"`

	// Name of this machine's account at the broker. Default: none.
	User Text `yaml:"user"`

	// File whose first line is the password of user. Either this or password_env.
	PasswordFile string `yaml:"password_file"`

	// Variable of the environment that has the password.
	PasswordEnv string `yaml:"password_env"`

	// Name under which the broker knows this client; no two may bear the same.
	// Default: weald-send-heartbeat.
	ClientID Text `yaml:"client_id"`

	// Asks for TLS towards the broker; may be empty ({}). Default: none, and what
	// is sent, passwords too, can be read on its way.
	TLS *ClientTLS `yaml:"tls"`
}
