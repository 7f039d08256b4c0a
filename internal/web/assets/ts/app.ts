// Everything works without this script: it only makes forms handier. Each
// module looks for the attribute it serves and leaves the rest alone.
import { theme } from "./theme";
import { drop } from "./drop";
import { live } from "./live";

theme(document);
drop(document);
live(document);
