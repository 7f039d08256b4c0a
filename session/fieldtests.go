package session

// fieldTests are the protocols whose results capacity reads (see
// capacity/fieldtest.go for factors, spreads and sources).
var fieldTests = []Starter{
	{"test-talk", `session: Talk test
purpose: Find the watts at which speaking in sentences stops being comfortable: evidence for your threshold that costs nothing.
for: Everybody; a good first test.
caution: Stop the rise as soon as talking stops being comfortable: the test is over there.
source: Common practice; note the watts as a talk test.

warm up 6 min from 35 to 45 % of threshold
test 3 min at 50 % of threshold, say "Say a few sentences aloud: comfortable?"
test 3 min at 60 % of threshold, say "Say the same sentences: comfortable?"
test 3 min at 70 % of threshold, say "The same sentences. If not comfortable, ease off now"
test 3 min at 80 % of threshold, say "The same sentences. If not comfortable, ease off now"
test 3 min at 90 % of threshold, say "The last step: comfortable?"
cool down 8 min from 50 to 35 % of threshold
`},
	{"test-easy-heart-rate", `session: Heart rate at two easy loads
purpose: Heart rate against watts at two easy efforts, five minutes each: weak evidence that needs no effort.
for: Riders with a heart-rate sensor who want no hard test.
caution: It says little if your heart rate is changed by a medicine, heat, coffee or a bad night.
source: The line of heart rate against oxygen uptake of Swain et al. 1994, MSSE 26:112 (abstract only).

warm up 8 min from 35 to 45 % of threshold
test 5 min at 50 % of threshold, say "Note the heart rate of the last minute"
test 5 min at 65 % of threshold, say "Note the heart rate of the last minute"
cool down 6 min from 45 to 35 % of threshold
`},
	{"test-half-hour", `session: Even half hour, hard but not flat out
purpose: A threshold from half an hour that ends at 15 on the scale from 6 to 20: less exact than a maximal test and much kinder.
for: Riders who may ride firmly and do not want, or should not do, a maximal test.
caution: It ends hard, never flat out: if a word no longer comes, you are above it.
source: 30 min at the maximal lactate steady state ended at 15 and were 86 % of critical power: Perceptual and Motor Skills 2023, doi 10.1177/00315125231180383 (abstract only). Note the mean watts as a threshold from a submaximal half hour.

warm up 12 min from 40 to 65 % of threshold
test 30 min at exertion 15, say "Even watts from first to last minute"
cool down 8 min from 50 to 40 % of threshold
`},
	{"test-20-min", `session: Twenty-minute test
purpose: The best even power of 20 minutes; 95 % of it estimates the threshold.
for: Riders who have ridden hard before and are fresh.
caution: Maximal. Only after a health screening, as an adult, rested and with a strong fan.
caution: Begin a little under what you think you can hold: most people begin too hard.
source: 0.95 of 20 minutes was 249 W where critical power was 256 W, difference 7 ± 13 W, 17 riders: Karsten et al. 2021, Front Physiol 11:613151 (abstract only).

warm up 15 min from 45 to 75 % of threshold
ride 1 min at threshold
easy 8 min
test 20 min all out, say "Even: as hard as you can hold to the end"
cool down 10 min from 50 to 35 % of threshold
`},
	{"test-8-min", `session: Eight-minute test
purpose: The best even power of 8 minutes; 90 % of it is used as threshold, and it is one of the efforts that critical power is fitted to.
for: Riders who have ridden hard before and are fresh.
caution: Maximal. Only after a health screening, as an adult, rested and with a strong fan.
source: The factor is common practice, and above most laboratory thresholds: Sanders et al. 2020, JSCR; Gavin et al. 2012, JSCR (abstracts only).

warm up 15 min from 45 to 75 % of threshold
ride 1 min at threshold
easy 8 min
test 8 min all out, say "Even: as hard as you can hold to the end"
cool down 10 min from 50 to 35 % of threshold
`},
	{"test-ramp", `session: Ramp to exhaustion
purpose: The power rises until you cannot go on; 75 % of the best minute is used as threshold.
for: Riders who have ridden hard before; shorter than the 20 minutes and needs no sense of pace.
caution: Maximal. Only after a health screening, as an adult, rested and with a strong fan.
source: A coaching rule of thumb: five ramps gave 4.5 % more than critical power, from -0.6 to 9.4 % (computed from the open data of Weigend et al. 2022).

warm up 8 min from 35 to 45 % of threshold
test until you cannot go on, at most 25 min, from 45 to 170 % of threshold at 75 to 100 rpm
cool down 10 min from 40 to 30 % of threshold
`},
	{"test-3-min", `session: Three-minute test
purpose: The best even power of three minutes: the short one of the efforts that critical power and W′ are fitted to.
for: Riders who have ridden hard before; ridden on another day than the long one.
caution: Maximal. Only after a health screening, as an adult, rested and with a strong fan.
source: Common practice of critical-power testing; ridden evenly, not as the 3-minute all-out test of Vanhatalo, Doust, Burnley 2007, MSSE 39:548, which begins with a sprint.

warm up 15 min from 45 to 75 % of threshold
easy 8 min
test 3 min all out, say "Even: as hard as you can hold to the end"
cool down 10 min from 50 to 35 % of threshold
`},
	{"test-12-min", `session: Twelve-minute test
purpose: The best even power of twelve minutes: the long one of the efforts that critical power and W′ are fitted to.
for: Riders who have ridden hard before; ridden on another day than the short one.
caution: Maximal. Only after a health screening, as an adult, rested and with a strong fan.
source: Critical power comes out too high when every test is shorter than 10 to 12 min: Mattioni Maturana et al. 2018, J Sci Med Sport 21:742 (abstract only).

warm up 15 min from 45 to 75 % of threshold
easy 8 min
test 12 min all out, say "Even: as hard as you can hold to the end"
cool down 10 min from 50 to 35 % of threshold
`},
	{"test-hour", `session: The hour
purpose: The best even hour: the threshold itself, not an estimate of it.
for: Experienced riders who know from shorter tests what they can hold.
caution: Maximal and long. Only after a health screening, as an adult, rested, cooled by a strong fan, with two bottles.
source: Threshold is the power of an hour by definition; few people ride one evenly.

warm up 15 min from 45 to 75 % of threshold
easy 5 min
test 1 h all out, say "Begin easier than you think"
cool down 10 min from 50 to 35 % of threshold
`},
}
