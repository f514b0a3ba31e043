package shape

// Cluster keeps the record on several machines at once.
type Cluster struct {
	// Addresses of NATS servers with JetStream, of one cluster: nats://host:4222 on
	// this machine, tls://host:4222 elsewhere. Either these or own.
	Servers []string `yaml:"servers" jsonschema:"minItems=1,maxItems=16"`

	// Keeps the log on this machine, in a server of its own in the daemon, from where a
	// centre has it whenever there is a link. Default: none.
	Own *OwnServer `yaml:"own"`

	// The domain of the machine that writes the record, with a server of its own, which
	// this one shows from a centre. Needs roles: [serve]. Default: none, for a record that
	// is written on these servers.
	Domain ID `yaml:"domain"`

	// On how many servers each change of the record is before it is acknowledged: 3
	// survives the loss of one, 5 of two; 1 is for a single server. Default 3.
	Replicas int `yaml:"replicas" jsonschema:"minimum=1,maximum=5,default=3"`

	// File with this machine's key at the servers (weald cluster key), or with
	// credentials that NATS issued, relative to the configuration file. Default: none.
	Credentials string `yaml:"credentials"`

	// PEM file of certificates to trust in tls://, relative to the configuration
	// file. Default: those that the system trusts.
	CA string `yaml:"ca"`

	// What this machine does: ingest reads the bridges and hands their readings on through
	// the log; judge takes readings from there, judges them and keeps the record; serve
	// shows the pages, which whoever judges does. A machine that has all of them reads the
	// bridges itself while it judges, and no reading goes through the log before it is
	// judged: either all machines of a record have all roles, or each has ingest or the
	// others. Serve alone keeps a copy of the record and shows alerts and readings from
	// afar: of machines with the same log or, with domain, of a ward with a server of its own.
	// Default: all.
	Roles []Role `yaml:"roles"`

	// Which record: all machines that keep it say the same. At most 60 characters. Default
	// ward.
	Record ID `yaml:"record" jsonschema:"default=ward"`

	// What this machine is called where people are told which one does the work.
	// Default: its host name.
	Machine Text `yaml:"machine"`

	// Address under which people find this machine's pages from elsewhere, such as
	// https://weald-a.larch.example:8420. Default: none.
	Pages string `yaml:"pages"`

	// Spreads the places over the machines: each share has a record, pages and a lease of
	// its own, and is judged by one machine at a time, whichever that is. Default: one
	// machine does all the work.
	Shares []Share `yaml:"shares"`
}

// OwnServer is a server of the log in the daemon, a leaf of those of a centre.
type OwnServer struct {
	// What the log is known by at the centre: the centre's domain.
	Domain ID `yaml:"domain" jsonschema:"required"`

	// Addresses at which servers of the centre take leaves: nats://host:7422 on this
	// machine, tls://host:7422 elsewhere. Credentials and ca are for these.
	Centre []string `yaml:"centre" jsonschema:"required,minItems=1"`
}

// Share is some places that one machine reads and judges at a time, such as a ward.
type Share struct {
	// What it is called, unique among them. Its record is in a folder of that name in
	// data, and commands about it are given the configuration's file, # and this name:
	// weald.yaml#larch.
	ID ID `yaml:"id" jsonschema:"required"`

	// Address and port of its pages on whichever machine carries it, under the same
	// terms as those of web.listen, where the shares are listed.
	Listen string `yaml:"listen" jsonschema:"required"`

	// The bridges that it reads. Places go along with the bridges that they rest on:
	// all those of a place are of one share.
	Bridges []ID `yaml:"bridges" jsonschema:"required,minItems=1"`
}
