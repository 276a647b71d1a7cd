use swingd::engine::*; use swingd::sim::*;
fn main(){
  let arg=std::env::args().nth(1).unwrap_or("cal".into());
  for seed in 0..40u64 { let k= if arg=="cal" {Kind::Calibration} else {Kind::Event(EventKind::RollInHands)};
    let s=Scenario::new(k,Preset::Good,7000+seed).run();
    let mut e=Engine::new(s.profile.clone()); e.push(&s.samples); e.finish();
    let c=e.calibration().unwrap(); let t=s.truth.drawn.tilt_rad;
    // truth: mount
    let d=(s.truth.drawn.mount.q_bs*s.profile.mount.q_bs.inverse()).scaled_axis();
    println!("{seed} tilt est {:.4} {:.4} ± {:.4} true {:.4} {:.4} (drawn {:?}) z {:.2} {:.2}", c.mean[33],c.mean[34],c.covariance[(33,33)].sqrt(), d.x,d.y,t,(c.mean[33]-d.x)/c.covariance[(33,33)].sqrt(),(c.mean[34]-d.y)/c.covariance[(34,34)].sqrt());
  }
}
