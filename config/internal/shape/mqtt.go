package shape

// MQTT is a bridge's way through a broker.
type MQTT struct {
	// Address and port of the site's broker, such as broker:1883. Either this
	// or listener.
	Broker string `yaml:"broker"`

	// true for a bridge that connects to the daemon's own listener, which the
	// key mqtt at the top of the file opens. Its user name is the bridge's id,
	// its password that of password_file. Either this or broker.
	Listener bool `yaml:"listener"`

	// Version of the protocol towards the broker, 5 or 3.1.1. Default 5.
	Version MQTTVersion `yaml:"version"`

	// Name of this machine's account at the broker. Default: none.
	User Text `yaml:"user"`

	// File whose first line is the password: of user at the broker, or with
	// listener of the bridge, which then needs one. Relative to the
	// configuration file. Default: none.
	PasswordFile string `yaml:"password_file"`

	// Name under which the broker keeps frames for this machine; no two clients
	// of a broker may bear the same. Default: weald- and the bridge's id.
	ClientID Text `yaml:"client_id"`

	// How long the broker is asked to keep frames while this machine is away; MQTT 5
	// only, for 3.1.1 cannot ask. Default 1h.
	KeepFor *Duration `yaml:"keep_for"`

	// Asks for TLS towards the broker; may be empty ({}). Default: none, and
	// what is sent, passwords too, can be read on its way.
	TLS *ClientTLS `yaml:"tls"`
}

// ClientTLS has the files that the side which dials needs.
type ClientTLS struct {
	// PEM file of certificates to trust. Default: those that the system trusts.
	CA string `yaml:"ca"`

	// Name that the other side's certificate must bear. Default: the host of
	// the address.
	ServerName string `yaml:"server_name"`

	// PEM file of the certificate that this side shows. Default: none.
	Certificate string `yaml:"certificate"`

	// PEM file of the key of certificate.
	Key string `yaml:"key"`
}

// Broker is the daemon's own MQTT listener.
type Broker struct {
	// Port to listen on for bridges, such as :1883 for every address of this
	// machine. Bridges are let in by their password alone, each may publish its
	// own frames and nothing else, and nothing is forwarded to anybody. Beyond
	// loopback give tls too: without it passwords and readings can be read on
	// their way.
	Listen string `yaml:"listen" jsonschema:"required"`

	// How many clients may be connected at a time, of all bridges together.
	// Default 1024.
	MaxClients int `yaml:"max_clients" jsonschema:"minimum=1,maximum=100000,default=1024"`

	// Asks for TLS. Default: none.
	TLS *ServerTLS `yaml:"tls"`
}

// ServerTLS has the files that the side which listens needs.
type ServerTLS struct {
	// PEM file of the certificate that this side shows, with those that vouch
	// for it.
	Certificate string `yaml:"certificate" jsonschema:"required"`

	// PEM file of the key of certificate.
	Key string `yaml:"key" jsonschema:"required"`

	// PEM file of certificates, one of which must have signed that of whoever
	// connects, besides the password. Default: whoever connects needs none.
	ClientCA string `yaml:"client_ca"`
}
