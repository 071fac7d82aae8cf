use super::Registers;
use super::stages::{LIST, TRIES, read_mark};
use crate::old::alert::{Causes, Kind};
use crate::old::exchange::{Effort, Step};
use crate::old::part::{BusRange, Pace, SenseRange};
use crate::old::sampling::{Mode, Ranges, Sampling};
use crate::old::{Channel, Task};

/// The most that a task can cost: the porter's lists, added up in the order of `stages`.
pub(super) fn effort<R: Registers, const N: usize>(task: Task) -> Effort {
    let one = |step: Option<Step>| step.map_or(Effort::NONE, |step| Effort::of(&step, R::CHECKED));
    let list = |steps: &dyn Fn(u8) -> Option<Step>| {
        (0..LIST)
            .map_while(steps)
            .fold(Effort::NONE, |sum, step| sum.then(one(Some(step))))
    };
    let ranges = Ranges {
        sense: SenseRange(0),
        bus: BusRange(0),
    };
    let channels = [Some(ranges); N];
    let sampling = Sampling {
        channels: &channels,
        mode: Mode::Paced(Pace(0)),
        averaging: 0,
    };
    let identity = one(Some(R::identity()));
    let mark = one(Some(R::mark(0)));
    let set_up = list(&|stage| R::set_up(stage, &sampling));
    let limits = Channel::first(R::SPEC.channels)
        .flat_map(|channel| Kind::ALL.map(|kind| (channel, kind)))
        .fold(Effort::NONE, |sum, (channel, kind)| {
            sum.then(one(R::limit(channel, kind, Some(0))))
        });
    let unmask = one(R::unmask(Causes::empty()));
    let causes = one(R::read_causes()).then(one(R::clear(Causes::empty())));
    let wait = Effort::wait(R::CONVERSION_US);
    let read = list(&R::read).times(u32::from(TRIES));
    let sample = one(Some(R::trigger()))
        .then(wait.times(u32::from(TRIES).saturating_add(1)))
        .then(read);
    let old_mark = one(Some(read_mark::<R>()));
    let change = mark.then(set_up).then(old_mark).then(mark);
    match task {
        Task::Init => identity
            .then(old_mark)
            .then(list(&R::restart))
            .then(change)
            .then(sample),
        Task::Attach => identity.then(sample),
        Task::Latch => sample,
        Task::Configure => sample.then(change),
        Task::Arm => old_mark
            .then(unmask.times(2))
            .then(limits.times(2))
            .then(causes)
            .then(sample)
            .then(change),
        Task::Look => causes,
        Task::Service => causes.times(u32::from(Task::LOOKS)).then(sample),
        Task::Fetch => Effort::NONE,
    }
}
