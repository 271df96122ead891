package performer

// Move is a move of the invented game.
type Move struct {
	Name      string
	Motion    string // numpad notation, facing right; "" for none
	Key       string // key name that makes it
	Startup   int    // frames, counting the first active frame
	Advantage int    // frames on hit, until the player can act, less until the victim can
}

// Link is a pair of moves of which the second must be pressed in a window of
// W = advantage − startup + 1 frames that opens a fixed time after the first.
type Link struct {
	From, To Move
	Opening  int // frames from the press of From to the window's first frame
}

// Window returns the link's window in frames.
func (l Link) Window() int { return l.From.Advantage - l.To.Startup + 1 }

// Game is the game that the performer plays. It exists nowhere else.
const Game = "Loomyard"

// The moves of the game. All their numbers are made up; +10 into 8 is the
// trade's usual example of a 3-frame link (common practice, no source).
var (
	LowBobbin   = Move{"Low Bobbin", "2", "south", 5, 10}
	LongShuttle = Move{"Long Shuttle", "", "west", 8, 2}
	HeddleKick  = Move{"Heddle Kick", "", "east", 9, -1}
	ReedWave    = Move{"Reed Wave", "236", "north", 14, -4}
	SelvageRise = Move{"Selvage Rise", "623", "east", 4, -20}
	SpindleTurn = Move{"Spindle Turn", "214", "north", 17, 1}
)

// The links that the performer practises: three frames wide and two.
var (
	ShuttleLink = Link{LowBobbin, LongShuttle, 24}
	HeddleLink  = Link{LowBobbin, HeddleKick, 22}
)

// Rate is the game's frames a second.
const Rate = 60
