// Everything works without this script: it only makes forms handier, and a
// ride's page live. Each module looks for the attribute it serves and leaves
// the rest alone.
import { theme } from "./theme";
import { drop } from "./drop";
import { once } from "./once";
import { print } from "./print";
import { live } from "./live";
import { ride } from "./ride";
import { group } from "./group";
import { check } from "./check";
import { together } from "./together";

theme(document);
drop(document);
print(document);
live(document);
ride(document);
group(document);
check(document);
together(document);
once(document);
