package shape

// WebTLS says where the certificate of the pages is from: either certificate and
// key, or self_signed. Files that change count within seconds, without a restart,
// and open connections stay.
type WebTLS struct {
	// PEM file of the certificate, with those that vouch for it.
	Certificate string `yaml:"certificate"`

	// PEM file of the key of certificate, without a password. Refused where every
	// account of this machine may read it.
	Key string `yaml:"key"`

	// true for a certificate of the daemon's own: it makes a CA for these names and
	// nothing else, and renews the certificate by itself. Both are in the folder tls
	// of data. `weald tls show` says what clients have to trust.
	SelfSigned bool `yaml:"self_signed"`
}
