package take

func child(string) {}
