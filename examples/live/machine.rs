//! What the kernel says of this process and this machine. Linux only: all of it is read from /proc (proc(5)).

use anyhow::Context;
use std::collections::BTreeMap;
use std::fs::{read_dir, read_to_string};
use std::path::Path;

/// Clock ticks a second in /proc: Linux shows 100 to programs on all common machines (proc(5), time(7)).
const TICKS_HZ: f64 = 100.0;

/// CPU time of this process so far, user and system, s; threads that have ended are in it.
pub fn process_cpu_s() -> anyhow::Result<f64> {
    cpu_s(Path::new("/proc/self/stat"))
}

/// CPU time so far by the names of threads, s; those that have ended are not in it.
pub fn threads_cpu_s() -> anyhow::Result<BTreeMap<String, f64>> {
    let mut all = BTreeMap::new();
    for thread in read_dir("/proc/self/task").context("/proc/self/task; expected Linux")? {
        let folder = thread?.path();
        // One that ends while it is looked at is passed over.
        if let (Ok(name), Ok(used_s)) = (read_to_string(folder.join("comm")), cpu_s(&folder.join("stat"))) {
            *all.entry(name.trim().to_owned()).or_insert(0.0) += used_s;
        }
    }
    Ok(all)
}

/// CPU time of this thread so far, s, to the nanosecond.
pub fn thread_cpu_s() -> anyhow::Result<f64> {
    // The kernel brings the figure up to date when the thread leaves the processor, or at its own tick.
    std::thread::yield_now();
    let text = read_to_string("/proc/thread-self/schedstat").context("/proc/thread-self/schedstat; expected Linux")?;
    let first = text.split_whitespace().next().context("an empty schedstat")?;
    Ok(first.parse::<f64>()? * 1e-9)
}

/// Memory of this process that is in RAM, MB.
pub fn resident_mb() -> anyhow::Result<f64> {
    let status = read_to_string("/proc/self/status").context("/proc/self/status; expected Linux")?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).context("no VmRSS")?;
    let kb: f64 = line.split_whitespace().next().context("VmRSS without a number")?.parse()?;
    Ok(kb * 1024e-6)
}

/// How busy the machine is, this process included: the load averages of 1, 5 and 15 minutes.
pub fn load_average() -> String {
    let text = read_to_string("/proc/loadavg").unwrap_or_else(|_| "unknown".into());
    text.split_whitespace().take(3).collect::<Vec<_>>().join(" ")
}

/// `utime` and `stime` of a stat file; the name before them may hold anything but the last `)`.
fn cpu_s(path: &Path) -> anyhow::Result<f64> {
    let text = read_to_string(path).with_context(|| format!("{}; expected Linux", path.display()))?;
    let fields = text.rsplit_once(')').map_or("", |(_, after)| after);
    let ticks: Vec<f64> = fields.split_whitespace().skip(11).take(2).filter_map(|field| field.parse().ok()).collect();
    anyhow::ensure!(ticks.len() == 2, "{}: expected utime and stime", path.display());
    Ok(ticks.iter().sum::<f64>() / TICKS_HZ)
}
