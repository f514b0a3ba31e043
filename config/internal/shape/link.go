package shape

// Link is how bytes arrive; exactly one of its keys is given.
type Link struct {
	// A serial port, real or virtual.
	Serial *Serial `yaml:"serial"`

	// A file: a delimited one, or a capture of any format.
	File *FileLink `yaml:"file"`

	// A TCP connection, dialled or waited for, with or without TLS.
	TCP *TCP `yaml:"tcp"`

	// Messages over MQTT, through a site's broker or the daemon's own listener.
	// A bridge publishes each frame as one message to the topic
	// weald/BRIDGE/frames, with the bridge's id for BRIDGE.
	MQTT *MQTT `yaml:"mqtt"`

	// A Bluetooth Low Energy peripheral, read by this machine's own radio; Linux
	// with BlueZ only, and for the format packed only.
	BLE *BLE `yaml:"ble"`
}

// Serial names a serial port by its path or by the USB device behind it.
type Serial struct {
	// Path of the port, such as /dev/ttyACM0. Either this or usb.
	Port string `yaml:"port"`

	// The USB device, wherever it is plugged in. Either this or port.
	USB *USB `yaml:"usb"`

	// Speed in bits per second; a port over USB ignores it. Default 115200.
	Baud int `yaml:"baud" jsonschema:"default=115200"`
}

// USB names a device as its maker numbered it; `weald ports` lists them.
type USB struct {
	// Vendor number, four hexadecimal digits.
	Vendor Hex `yaml:"vendor" jsonschema:"required"`

	// Product number, four hexadecimal digits.
	Product Hex `yaml:"product" jsonschema:"required"`

	// Serial number of the one device; needed where two are alike. Default:
	// any.
	Serial Text `yaml:"serial"`
}

// FileLink reads a file instead of a wire.
type FileLink struct {
	// Path of the file, relative to the configuration file.
	Path string `yaml:"path" jsonschema:"required"`

	// live plays it at the pace it was recorded at, fast as fast as it goes.
	// Default live.
	Pace string `yaml:"pace" jsonschema:"enum=live,enum=fast,default=live"`
}

// TCP is a connection with a bridge that listens, or with one that dials.
type TCP struct {
	// Address and port of a bridge that listens, such as 10.0.0.5:4000. Either
	// this or listen.
	Dial string `yaml:"dial"`

	// Port to listen on for the one bridge that dials, such as :4000 for every
	// address of this machine. Either this or dial. Beyond loopback only tls with
	// client_ca keeps others from sending readings in the bridge's place;
	// without tls whoever is on the network may read and send them.
	Listen string `yaml:"listen"`

	// Silence after which the connection is given up and made anew; 0 for never.
	// Default: the larger of 2m and 3 nominal periods of the fastest source.
	Idle *Duration `yaml:"idle"`

	// With listen: silence after which another bridge that connects takes the place of
	// the first. Default 5s.
	Quiet *Duration `yaml:"quiet"`

	// Asks for TLS. With dial it may be empty ({}) and takes ca, server_name,
	// certificate and key; with listen it takes certificate, key and client_ca.
	// Default: none, and what is sent can be read and changed on its way.
	TLS *TLS `yaml:"tls"`
}

// TLS has the files that either side of a connection needs.
type TLS struct {
	// With dial: PEM file of certificates to trust. Default: those that the
	// system trusts.
	CA string `yaml:"ca"`

	// With dial: name that the other side's certificate must bear. Default: the
	// host of the address.
	ServerName string `yaml:"server_name"`

	// PEM file of the certificate that this side shows; needed with listen.
	Certificate string `yaml:"certificate"`

	// PEM file of the key of certificate.
	Key string `yaml:"key"`

	// With listen: PEM file of certificates, one of which must have signed that
	// of whoever connects. Default: whoever connects needs none.
	ClientCA string `yaml:"client_ca"`
}

// BLE is a peripheral whose notifications carry packed frames, or the pressure
// that the Bluetooth SIG defines. `weald ports` lists those in reach.
type BLE struct {
	// Address of the peripheral, such as C4:2D:5E:00:10:7F. Either this or name.
	Address Text `yaml:"address"`

	// What the peripheral calls itself, to the letter. Either this or address.
	Name Text `yaml:"name"`

	// The radio to use, such as hci0, or its address. Default: the first one.
	Adapter Text `yaml:"adapter"`

	// UUID of the service that the frames are in. Default: that of our own
	// firmware notes, or with pressure the assigned 0x181A.
	Service Text `yaml:"service"`

	// UUID of the characteristic that notifies. Default: that of our own
	// firmware notes, or with pressure the assigned 0x2A6D.
	Characteristic Text `yaml:"characteristic"`

	// Set for a plain sensor with the Bluetooth SIG's Pressure characteristic.
	// The bridge then has one source with one channel, which needs no
	// calibration. Default: none, the notifications carry packed frames.
	Pressure *Pressure `yaml:"pressure"`
}

// Pressure says what the Pressure characteristic is measured against, which it
// does not say itself.
type Pressure struct {
	// gauge is against the ambient air, absolute against a vacuum; the maker of
	// the sensor says which.
	Is string `yaml:"is" jsonschema:"required,enum=gauge,enum=absolute"`

	// For absolute: pressure of the ambient air in hPa, from 500 to 1100. The
	// weather moves it by several hPa a day, and 1 hPa is 0.75 mmHg.
	AmbientHPa *float64 `yaml:"ambient_hpa"`
}
